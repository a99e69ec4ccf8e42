#include "decode/export_database.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "base/text.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kMostSignals = 1990;  // of one table; a database takes 2000 columns
constexpr std::size_t kMostNotes = 20;
constexpr const char* kBothNames = "the table signal tells both names";

enum Place : std::size_t { kTime, kBus, kSource, kDestination, kController, kName, kFrame, kFixed };
constexpr std::size_t kProcess = 3;  // more of process data

std::vector<Column> fixed_columns() {
  using Type = Column::Type;
  return {{"time_ns", Type::time, "", "ns since 1970 UTC", true, {}},
          {"bus", Type::text, "", "", false, {}},
          {"source", Type::integer, "", "address", false, {}},
          {"destination", Type::integer, "", "address, 255 is all", false, {}},
          {"controller", Type::text, "", "label of the roster, or term", false, {}},
          {"name", Type::text, "", "NAME in hex", false, {}},
          {"frame", Type::integer, "", "number of the last frame in the capture", false, {}}};
}

/// Of process data, behind the fixed ones.
std::vector<Column> process_columns() {
  using Type = Column::Type;
  return {{"ddi_name",
           Type::text,
           "",
           "of the data dictionary; NULL where the message carries no value",
           false,
           {}},
          {"value", Type::real, "", "scaled by the data dictionary, else as sent", false, {}},
          {"unit", Type::text, "", "of the value", false, {}}};
}

Table doubt_table() {
  using Type = Column::Type;
  Table table;
  table.name = "doubt";
  table.comment = "readings that are neither valid nor simply not available";
  table.columns = {{"message", Type::text, "", "", false, {}},
                   {"time_ns", Type::time, "", "ns since 1970 UTC", true, {}},
                   {"bus", Type::text, "", "", false, {}},
                   {"source", Type::integer, "", "address", false, {}},
                   {"frame", Type::integer, "", "number of the last frame in the capture", false, {}},
                   {"signal", Type::text, "", "", false, {}},
                   {"state", Type::text, "", "error, reserved, out-of-range or cut-off", false, {}},
                   {"raw", Type::integer, "", "the bits as sent; 64 bits: negative from 2^63 on", false, {}}};
  return table;
}

Table remark_table() {
  using Type = Column::Type;
  Table table;
  table.name = "remark";
  table.comment = "what no signal can hold: lists, texts, split fields";
  table.columns = {{"message", Type::text, "", "table", false, {}},
                   {"time_ns", Type::time, "", "ns since 1970 UTC", true, {}},
                   {"bus", Type::text, "", "", false, {}},
                   {"source", Type::integer, "", "address", false, {}},
                   {"controller", Type::text, "", "label of the roster, or term", false, {}},
                   {"frame", Type::integer, "", "number of the last frame in the capture", false, {}},
                   {"name", Type::text, "", "what the text is about", false, {}},
                   {"text", Type::text, "", "", false, {}}};
  return table;
}

}  // namespace

DatabaseExport::DatabaseExport(const Schema& schema, const std::vector<SignalColumn>& chosen,
                               const std::optional<UnitChoice>& units, bool events, TableWriter& out)
    : units_(units),
      out_(out),
      signals_(schema, out),
      variables_(schema, units),
      names_{"signal", "code", "doubt", "remark", "event", "event_readable", "capture", "series"} {
  for (const SignalColumn& column : chosen) {
    if (column.signal != nullptr)
      chosen_[column.signal->message].push_back(column.signal);
    else
      process_chosen_ = true;
  }
  doubts_ = out_.add_table(doubt_table());
  remarks_ = out_.add_table(remark_table());
  if (events) events_ = std::make_unique<EventTable>(out_, "event", "time_ns");
}

void DatabaseExport::on_event(const Event& event) {
  if (events_) events_->tell(event, buses_.of(event.bus));
}

void DatabaseExport::note(std::string what, std::string remedy) {
  if (notes_.size() < kMostNotes) notes_.push_back({std::move(what), std::move(remedy)});
}

std::vector<const SignalSpec*> DatabaseExport::signals_of(const MessageSpec& message,
                                                          bool process_data) const {
  // The value of a DDI means nothing without the element and the command.
  const auto chosen = chosen_.find(&message);
  if (chosen != chosen_.end() && !(process_data && process_chosen_)) return chosen->second;
  std::vector<const SignalSpec*> all;
  for (const SignalSpec& signal : message.signals) all.push_back(&signal);
  return all;
}

void DatabaseExport::add_signals(const MessageSpec& message, std::vector<const SignalSpec*> signals,
                                 MessageTable& made, Table& table) {
  const std::string message_name = printable_utf8(message.name);
  if (signals.size() > kMostSignals) {
    note(fmt::format("{} signals of message \"{}\" are left out, because a table takes {}",
                     signals.size() - kMostSignals, message_name, kMostSignals),
         "name those that you need with --signal; the table signal lists them without a column");
    for (std::size_t i = kMostSignals; i < signals.size(); ++i)
      signals_.add_left_out(made.name, column_of(*signals[i], units_));
    signals.resize(kMostSignals);
  }
  NameSet names{"time"};  // of the view
  for (const Column& column : table.columns) names.take(column.name);
  for (const SignalSpec* signal : signals) {
    SignalColumn column = column_of(*signal, units_);
    const std::string name = names.take(column.name);
    if (name != column.name)
      note(fmt::format("signal \"{}\" of message \"{}\" is column \"{}\", because the name is taken",
                       column.name, message_name, name),
           kBothNames);
    std::string comment = signal->title == signal->name ? "" : signal->title;
    if (const std::string kept = storage_note(column); !kept.empty())
      comment += (comment.empty() ? "" : "; ") + kept;
    table.columns.push_back(
        {name, storage_type(column), column.unit, std::move(comment), false, words_of(column)});
    signals_.add(made.name, name, column);
    made.places[static_cast<std::size_t>(signal - message.signals.data())] =
        static_cast<std::int32_t>(made.columns.size());
    made.columns.push_back(std::move(column));
    made.names.push_back(name);
  }
}

DatabaseExport::MessageTable& DatabaseExport::table_of(const MessageSpec& message) {
  const auto [at, fresh] = tables_.try_emplace(&message);
  MessageTable& made = at->second;
  if (!fresh) return made;
  const std::string wanted = printable_utf8(message.name);
  made.name = names_.take(wanted);
  if (made.name != wanted)
    note(fmt::format("message \"{}\" is table \"{}\", because the name is taken", wanted, made.name),
         kBothNames);
  made.places.resize(message.signals.size(), -1);
  made.process_data = is_process_data(message.pgn, message.extended);
  Table table;
  table.name = made.name;
  table.comment = message.title == message.name ? "" : message.title;
  table.view = names_.take(made.name + "_readable");
  table.columns = fixed_columns();
  if (made.process_data)
    for (Column& column : process_columns()) table.columns.push_back(std::move(column));
  add_signals(message, signals_of(message, made.process_data), made, table);
  made.table = out_.add_table(std::move(table));
  return made;
}

DatabaseExport::Known DatabaseExport::make_known(const Talk& talk) {
  Known known;
  known.table = talk.spec == nullptr ? nullptr : &table_of(*talk.spec);
  known.controller = printable_utf8(talk.from.words);
  known.name = talk.from.name ? talk.from.name->hex() : "";
  return known;
}

void DatabaseExport::on_message(const DecodedMessage& message) {
  const Talk& talk = *message.talk;
  const Known& of_talk = talks_.of(talk, [this](const Talk& one) { return make_known(one); });
  if (of_talk.table == nullptr) {
    ++(talk.piece ? loose_frames_ : unknown_messages_);
    return;
  }
  MessageTable& table = *of_talk.table;
  const std::size_t first_signal = kFixed + (table.process_data ? kProcess : 0);
  cells_.assign(first_signal + table.columns.size(), Cell{});
  if (texts_.size() < table.columns.size()) texts_.resize(table.columns.size());
  cells_[kTime] = Cell::of_time(message.time);
  cells_[kBus] = Cell::of_text(buses_.of(talk.from.bus));
  if (talk.extended) {
    cells_[kSource] = Cell::of_integer(talk.from.address);
    cells_[kDestination] = Cell::of_integer(talk.to.address);
    cells_[kController] = Cell::of_text(of_talk.controller);
  }
  if (!of_talk.name.empty()) cells_[kName] = Cell::of_text(of_talk.name);
  cells_[kFrame] = Cell::of_integer(static_cast<std::int64_t>(message.last_frame));
  if (table.process_data) {
    const ProcessVariables::Cells said = variables_.cells_of(message);
    cells_[kFixed] = said.name;
    cells_[kFixed + 1] = said.value;
    cells_[kFixed + 2] = said.unit;
  }
  const SignalSpec* first = talk.spec->signals.data();
  for (const Reading& reading : message.readings) {
    const std::int32_t place = table.places[static_cast<std::size_t>(reading.signal - first)];
    if (place < 0) continue;
    const auto column = static_cast<std::size_t>(place);
    cells_[first_signal + column] = cell_of(table.columns[column], reading, false, texts_[column]);
    if (is_doubtful(reading.validity)) tell_doubt(message, table, column, reading);
  }
  out_.row(table.table, cells_);
  ++rows_;
  tell_remarks(message, of_talk);
}

void DatabaseExport::tell_remarks(const DecodedMessage& message, const Known& known) {
  const Talk& talk = *message.talk;
  for (const Remark& remark : message.remarks) {
    const Cell cells[] = {Cell::of_text(known.table->name),
                          Cell::of_time(message.time),
                          Cell::of_text(buses_.of(talk.from.bus)),
                          talk.extended ? Cell::of_integer(talk.from.address) : Cell{},
                          talk.extended ? Cell::of_text(known.controller) : Cell{},
                          Cell::of_integer(static_cast<std::int64_t>(message.last_frame)),
                          Cell::of_text(remark.name),
                          Cell::of_text(remark.text)};
    out_.row(remarks_, cells);
  }
}

void DatabaseExport::tell_doubt(const DecodedMessage& message, const MessageTable& table, std::size_t column,
                                const Reading& reading) {
  const Talk& talk = *message.talk;
  const Cell cells[] = {Cell::of_text(table.name),
                        Cell::of_time(message.time),
                        Cell::of_text(buses_.of(talk.from.bus)),
                        talk.extended ? Cell::of_integer(talk.from.address) : Cell{},
                        Cell::of_integer(static_cast<std::int64_t>(message.last_frame)),
                        Cell::of_text(table.names[column]),
                        Cell::of_text(validity_code(reading.validity)),
                        reading.validity == Validity::cut_off
                            ? Cell{}
                            : Cell::of_integer(static_cast<std::int64_t>(reading.raw))};
  out_.row(doubts_, cells);
}

}  // namespace tramlog
