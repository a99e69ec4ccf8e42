// The usual form of a signal's line at one go. Such lines are half of a DBC file; token by token they take
// three times as long.
#pragma once

#include "base/decimal.hpp"
#include "schema/dbc_file.hpp"

namespace tramlog {

/// Reads `0|16@1+ (0.125,-100) [-100|7931.875] "km/h"` and sets placement, scaling, range and unit. Returns
/// where it ends, behind the closing quote. Null, and the signal as before, if anything is not as usual, be
/// it right or wrong: then the parser is to look at the tokens.
const char* read_usual_signal(const char* at, const char* end, DbcSignal& signal);

/// "-12.75" and the like, at most 18 characters: nearly all numbers. Returns where it ends; null if it is no
/// such number, though it may be another one.
const char* read_usual_decimal(const char* at, const char* end, Decimal& value);

}  // namespace tramlog
