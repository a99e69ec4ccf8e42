#include "decode/export_series.hpp"

#include <algorithm>
#include <utility>

#include "base/text.hpp"

namespace tramlog {
namespace {

constexpr std::uint32_t kNoSource = 256;

}  // namespace

std::vector<std::string> SeriesExport::fixed_columns(const SeriesOptions& options) {
  return {options.time_column, "bus", "source", "controller", "element", "remarks"};
}

SeriesExport::SeriesExport(std::vector<SignalColumn> columns, const SeriesOptions& options, TableWriter& out)
    : columns_(std::move(columns)), options_(options), out_(out), texts_(columns_.size()) {
  for (std::size_t i = 0; i < columns_.size(); ++i) {
    const SignalColumn& column = columns_[i];
    const auto place = static_cast<std::int32_t>(i);
    if (column.signal == nullptr) {
      process_places_[column.ddi] = i;
      continue;
    }
    const MessageSpec& message = *column.signal->message;
    auto& places = places_[&message];
    places.resize(message.signals.size(), -1);
    places[static_cast<std::size_t>(column.signal - message.signals.data())] = place;
  }

  Table table;
  table.name = options_.table;
  table.columns = {{options_.time_column, Column::Type::time, "", "ns since 1970 UTC", true, {}},
                   {"bus", Column::Type::text, "", "", false, {}},
                   {"source", Column::Type::integer, "", "address of the sender", false, {}},
                   {"controller", Column::Type::text, "", "label of the roster, or term", false, {}}};
  if (!process_places_.empty())
    table.columns.push_back({"element", Column::Type::integer, "", "device element number", false, {}});
  first_value_ = table.columns.size();
  for (std::size_t i = 0; i < columns_.size(); ++i) {
    const SignalColumn& column = columns_[i];
    const bool many =
        column.kind == SignalColumn::Kind::number || column.kind == SignalColumn::Kind::process_data;
    // A mean or an extreme is not the signal.
    const bool suffixed = options_.every > 0 && options_.takes != std::vector<Take>{Take::last};
    const std::vector<Take> takes =
        options_.every > 0 && many ? options_.takes : std::vector<Take>{Take::last};
    for (const Take take : takes) {
      Column out_column;
      out_column.name = column.name;
      if (suffixed) out_column.name += " " + std::string(take_word(take));
      out_column.unit = column.unit;
      out_column.type = take == Take::mean ? Column::Type::real : storage_type(column);
      if (column.kind == SignalColumn::Kind::code && options_.code_words)
        out_column.type = Column::Type::text;
      if (out_column.type == Column::Type::text) out_column.comment = storage_note(column);
      value_columns_.emplace_back(out_column.name, i);
      table.columns.push_back(std::move(out_column));
    }
  }
  table.columns.push_back({"remarks", Column::Type::text, "", "", false, {}});
  cells_.resize(table.columns.size());
  table_ = out_.add_table(std::move(table));
  if (options_.every > 0)
    steps_ = std::make_unique<StepTable>(columns_, options_.every, options_.takes, options_.code_words,
                                         !process_places_.empty(), out_, table_);
}

SeriesExport::Known SeriesExport::make_known(const Talk& talk) const {
  Known known;
  const auto found = places_.find(talk.spec);
  known.places = found == places_.end() ? nullptr : &found->second;
  known.controller = printable_utf8(talk.from.words);
  return known;
}

std::optional<SeriesExport::Process> SeriesExport::process_of(const DecodedMessage& message) const {
  if (process_places_.empty()) return std::nullopt;
  const auto value = process_value_of(message);
  if (!value) return std::nullopt;
  const auto found = process_places_.find(value->ddi);
  if (found == process_places_.end()) return std::nullopt;
  return Process{found->second, value->element, scaled_value(columns_[found->second], value->raw)};
}

void SeriesExport::on_message(const DecodedMessage& message) {
  Known& talk = talks_.of(*message.talk, [this](const Talk& one) { return make_known(one); });
  const std::optional<Process> process = process_of(message);
  bool chosen = process.has_value();
  if (talk.places != nullptr) {
    const SignalSpec* first = message.talk->spec->signals.data();
    for (const Reading& reading : message.readings)
      chosen = chosen || (*talk.places)[static_cast<std::size_t>(reading.signal - first)] >= 0;
  }
  if (!chosen) return;
  if (steps_)
    tally_step(message, talk, process);
  else
    tell_row(message, talk, process);
}

void SeriesExport::tell_row(const DecodedMessage& message, const Known& talk,
                            const std::optional<Process>& process) {
  const Speaker& from = message.talk->from;
  std::fill(cells_.begin(), cells_.end(), Cell{});
  remarks_.clear();
  cells_[0] = Cell::of_time(message.time);
  cells_[1] = Cell::of_text(buses_.of(from.bus));
  if (message.talk->extended) cells_[2] = Cell::of_integer(from.address);
  cells_[3] = Cell::of_text(talk.controller);
  if (talk.places != nullptr) {
    const SignalSpec* first = message.talk->spec->signals.data();
    for (const Reading& reading : message.readings) {
      const std::int32_t place = (*talk.places)[static_cast<std::size_t>(reading.signal - first)];
      if (place < 0) continue;
      const auto column = static_cast<std::size_t>(place);
      cells_[first_value_ + column] = cell_of(columns_[column], reading, options_.code_words, texts_[column]);
      if (!is_doubtful(reading.validity)) continue;
      if (!remarks_.empty()) remarks_ += "; ";
      remarks_ += columns_[column].name;
      remarks_ += ": ";
      remarks_ += validity_words(reading.validity, reading.signal->command);
    }
  }
  if (process) {
    cells_[first_value_ - 1] = Cell::of_integer(process->element);
    cells_[first_value_ + process->column] =
        Cell::of_number(shown_number(columns_[process->column], process->value));
  }
  if (!remarks_.empty()) cells_.back() = Cell::of_text(remarks_);
  out_.row(table_, cells_);
  ++rows_;
}

void SeriesExport::tally_step(const DecodedMessage& message, Known& talk,
                              const std::optional<Process>& process) {
  const Speaker& from = message.talk->from;
  StepTable::Sender sender{from.bus, message.talk->extended ? from.address : kNoSource, -1};
  if (process) sender.element = process->element;
  if (!steps_->speaks(message.time, sender, buses_.of(from.bus), talk.controller, talk.step)) return;
  if (talk.places != nullptr) {
    const SignalSpec* first = message.talk->spec->signals.data();
    for (const Reading& reading : message.readings) {
      const std::int32_t place = (*talk.places)[static_cast<std::size_t>(reading.signal - first)];
      if (place >= 0) steps_->add(static_cast<std::size_t>(place), reading);
    }
  }
  if (process) steps_->add_number(process->column, process->value);
}

void SeriesExport::finish() {
  if (steps_) steps_->finish();
}

}  // namespace tramlog
