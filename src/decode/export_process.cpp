#include "decode/export_process.hpp"

#include <fmt/format.h>

#include "base/bytes.hpp"
#include "base/text.hpp"

namespace tramlog {
namespace {

constexpr Pgn kPgnProcessData = 0xCB00;  // 51968
constexpr unsigned kValueCommand = 3, kSetValueCommand = 10;
constexpr std::size_t kProcessDataBytes = 8;

}  // namespace

bool is_process_data(Pgn pgn, bool extended) {
  return extended && pgn == kPgnProcessData;
}

std::optional<ValueMessage> process_value_of(const DecodedMessage& message) {
  const Bytes data = message.data;
  if (!is_process_data(message.talk->pgn, message.talk->extended) || data.size() < kProcessDataBytes)
    return std::nullopt;
  const unsigned command = data[0] & 0x0F;
  if (command != kValueCommand && command != kSetValueCommand) return std::nullopt;
  return ValueMessage{data[0] >> 4 | data[1] << 4, load_le<std::uint16_t>(data.data() + 2),
                      load_le<std::uint32_t>(data.data() + 4)};
}

SignalColumn process_data_column(const Schema& schema, std::uint16_t ddi,
                                 const std::optional<UnitChoice>& units) {
  SignalColumn column;
  column.kind = SignalColumn::Kind::process_data;
  column.ddi = ddi;
  column.entry = schema.dictionary().find(ddi);
  column.name = fmt::format("DDI {}", ddi);
  if (column.entry != nullptr) {
    column.name += " " + printable_utf8(column.entry->name);
    column.unit = printable_utf8(column.entry->unit);
    column.resolution = column.entry->resolution.to_double();
    if (units) column.conversion = conversion_of(column.entry->unit, *units);
    if (column.conversion) column.unit = column.conversion->unit;
  }
  return column;
}

Number scaled_value(const SignalColumn& column, std::uint32_t raw) {
  if (column.entry != nullptr) return Dictionary::value(*column.entry, raw);
  const auto value = static_cast<std::int64_t>(static_cast<std::int32_t>(raw));
  Number number;
  number.negative = value < 0;
  number.magnitude = static_cast<std::uint64_t>(number.negative ? -value : value);
  return number;
}

ProcessVariables::Cells ProcessVariables::cells_of(const DecodedMessage& message) {
  const auto value = process_value_of(message);
  if (!value) return {};
  const auto [at, fresh] = known_.try_emplace(value->ddi);
  Variable& variable = at->second;
  if (fresh) {
    variable.column = process_data_column(schema_, value->ddi, units_);
    if (variable.column.entry != nullptr) variable.name = printable_utf8(variable.column.entry->name);
  }
  const SignalColumn& column = variable.column;
  return {variable.name.empty() ? Cell{} : Cell::of_text(variable.name),
          Cell::of_number(shown_number(column, scaled_value(column, value->raw))),
          column.unit.empty() ? Cell{} : Cell::of_text(column.unit)};
}

}  // namespace tramlog
