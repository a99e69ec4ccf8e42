#include "decode/export_database.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "base/text.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kMostSignals = 1990;  // of one table; a database takes 2000 columns
constexpr std::size_t kMostNotes = 20;

enum Place : std::size_t { kTime, kBus, kSource, kDestination, kController, kName, kFrame, kFixed };

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

}  // namespace

DatabaseExport::DatabaseExport(const Schema& schema, const std::vector<SignalColumn>& chosen,
                               const std::optional<UnitChoice>& units, bool events, TableWriter& out)
    : units_(units), out_(out), signals_(schema, out), names_{"signal",         "code",    "doubt", "event",
                                                              "event_readable", "capture", "series"} {
  for (const SignalColumn& column : chosen)
    if (column.signal != nullptr) chosen_[column.signal->message].push_back(column.signal);
  using Type = Column::Type;
  Table doubts;
  doubts.name = "doubt";
  doubts.comment = "readings that are neither valid nor simply not available";
  doubts.columns = {{"message", Type::text, "", "", false, {}},
                    {"time_ns", Type::time, "", "ns since 1970 UTC", true, {}},
                    {"bus", Type::text, "", "", false, {}},
                    {"source", Type::integer, "", "address", false, {}},
                    {"frame", Type::integer, "", "number of the last frame in the capture", false, {}},
                    {"signal", Type::text, "", "", false, {}},
                    {"state", Type::text, "", "error, reserved, out-of-range or cut-off", false, {}},
                    {"raw", Type::integer, "", "the bits as sent", false, {}}};
  doubts_ = out_.add_table(std::move(doubts));
  if (events) events_ = std::make_unique<EventTable>(out_, "event", "time_ns");
}

void DatabaseExport::on_event(const Event& event) {
  if (events_) events_->tell(event, buses_.of(event.bus));
}

DatabaseExport::MessageTable& DatabaseExport::table_of(const MessageSpec& message) {
  const auto [at, fresh] = tables_.try_emplace(&message);
  MessageTable& made = at->second;
  if (!fresh) return made;
  const auto note = [&](std::string text) {
    if (notes_.size() < kMostNotes) notes_.push_back(std::move(text));
  };
  const std::string wanted = printable_utf8(message.name);
  made.name = names_.take(wanted);
  if (made.name != wanted)
    note(fmt::format("message \"{}\" is table \"{}\", because the name is taken", wanted, made.name));
  made.places.resize(message.signals.size(), -1);

  std::vector<const SignalSpec*> signals;
  if (const auto chosen = chosen_.find(&message); chosen != chosen_.end()) {
    signals = chosen->second;
  } else {
    for (const SignalSpec& signal : message.signals) signals.push_back(&signal);
  }
  if (signals.size() > kMostSignals) {
    note(fmt::format("{} signals of message \"{}\" are left out, because a table takes {}",
                     signals.size() - kMostSignals, wanted, kMostSignals));
    signals.resize(kMostSignals);
  }
  Table table;
  table.name = made.name;
  table.comment = message.title == message.name ? "" : message.title;
  table.view = names_.take(made.name + "_readable");
  table.columns = fixed_columns();
  NameSet columns{};
  for (const Column& column : table.columns) columns.take(column.name);
  columns.take("time");  // of the view
  for (const SignalSpec* signal : signals) {
    SignalColumn column = column_of(*signal, units_);
    const std::string name = columns.take(column.name);
    if (name != column.name)
      note(fmt::format("signal \"{}\" of message \"{}\" is column \"{}\", because the name is taken",
                       column.name, wanted, name));
    table.columns.push_back({name, storage_type(column), column.unit,
                             signal->title == signal->name ? "" : signal->title, false, words_of(column)});
    signals_.add(made.name, name, column);
    made.places[static_cast<std::size_t>(signal - message.signals.data())] =
        static_cast<std::int32_t>(made.columns.size());
    made.columns.push_back(std::move(column));
    made.names.push_back(name);
  }
  made.table = out_.add_table(std::move(table));
  return made;
}

DatabaseExport::Known& DatabaseExport::known(const Talk& talk) {
  if (talk.slot >= Interpreter::kMaxTalks) {
    spare_ = Known{};
  } else if (talk.slot >= talks_.size()) {
    talks_.resize(std::max<std::size_t>(talk.slot + std::size_t{1}, talks_.size() * 2));
  }
  Known& known = talk.slot >= Interpreter::kMaxTalks ? spare_ : talks_[talk.slot];
  if (known.known && known.generation == talk.generation) return known;
  known.known = true;
  known.generation = talk.generation;
  known.table = talk.spec == nullptr ? nullptr : &table_of(*talk.spec);
  known.controller = printable_utf8(talk.from.words);
  known.name = talk.from.name ? talk.from.name->hex() : "";
  return known;
}

void DatabaseExport::on_message(const DecodedMessage& message) {
  const Talk& talk = *message.talk;
  const Known& of_talk = known(talk);
  if (of_talk.table == nullptr) {
    ++unknown_messages_;
    return;
  }
  MessageTable& table = *of_talk.table;
  cells_.assign(kFixed + table.columns.size(), Cell{});
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
  const SignalSpec* first = talk.spec->signals.data();
  for (const Reading& reading : message.readings) {
    const std::int32_t place = table.places[static_cast<std::size_t>(reading.signal - first)];
    if (place < 0) continue;
    const auto column = static_cast<std::size_t>(place);
    cells_[kFixed + column] = cell_of(table.columns[column], reading, false, texts_[column]);
    if (is_doubtful(reading.validity)) tell_doubt(message, table, column, reading);
  }
  out_.row(table.table, cells_);
  ++rows_;
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
