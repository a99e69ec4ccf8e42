// Which raw values are reserved codes (fact sheet, signals, 5): ISO 11783-7 / J1939-71 by the top byte, NMEA
// 2000 by the exact top values.
#pragma once

#include <cstdint>

#include "schema/reading.hpp"

namespace tramlog {

/// What a raw value is in the signal's rule alone: valid, not_available, error or reserved.
Validity class_of_code(const SignalSpec& signal, std::uint64_t raw);

/// Raw values that the rule leaves to numbers, as one run: two's complement patterns for signed signals.
struct NumberRange {
  std::uint64_t first = 0;
  std::uint64_t last = 0;
};
NumberRange numbers_of(const SignalSpec& signal);

}  // namespace tramlog
