// Values of process data (PGN 51968, ISO 11783-10) scaled by the data dictionary.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <unordered_map>

#include "decode/export_columns.hpp"
#include "decode/interpreter.hpp"

namespace tramlog {

/// What a message says about one variable.
struct ValueMessage {
  std::int32_t element = 0;  // number of the device element
  std::uint16_t ddi = 0;
  std::uint32_t raw = 0;
};

/// B1 bits 1-4 command, B1 bit 5 .. B2 element, B3-4 DDI, B5-8 value (fact sheet, process data, 1). None
/// unless the message carries a value: command 3 (value) or 10 (set value and acknowledge), 8 bytes.
std::optional<ValueMessage> process_value_of(const DecodedMessage& message);

/// Whether messages of this kind can be process data.
bool is_process_data(Pgn pgn, bool extended);

SignalColumn process_data_column(const Schema& schema, std::uint16_t ddi,
                                 const std::optional<UnitChoice>& units);

/// In the dictionary's unit; the signed number as sent of a DDI that the dictionary does not have.
Number scaled_value(const SignalColumn& column, std::uint32_t raw);

/// The cells of a process data message that say what its value means.
class ProcessVariables {
 public:
  ProcessVariables(const Schema& schema, const std::optional<UnitChoice>& units)
      : schema_(schema), units_(units) {}

  struct Cells {
    Cell name, value, unit;  // of the DDI; the value in the unit that is shown. Name and unit null if unknown
  };
  /// All null unless the message carries a value. Texts live as long as this.
  Cells cells_of(const DecodedMessage& message);

 private:
  struct Variable {
    SignalColumn column;
    std::string name;  // in the dictionary, safe to write
  };
  const Schema& schema_;
  std::optional<UnitChoice> units_;
  std::unordered_map<std::uint16_t, Variable> known_;  // by DDI
};

}  // namespace tramlog
