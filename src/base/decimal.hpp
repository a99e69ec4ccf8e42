// Decimal numbers as they are written: exact, so that a resolution of 0.001 never turns into
// 0.0010000000000000000208.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace tramlog {

/// digits x 10^exponent. Parsed values carry no trailing zeros in `digits` (0.500 is 5 x 10^-1).
struct Decimal {
  std::int64_t digits = 0;
  std::int16_t exponent = 0;

  bool operator==(const Decimal&) const = default;
  double to_double() const;
  /// Shortest plain form: "0.0078125", "-273", "1e-16" below 10^-12 and from 10^18 on.
  std::string to_string() const;
};

/// "0.4", "-40", "1E-07", "+3.", ".5"; blanks around are not allowed. None if it is no number. More than 18
/// significant digits are rounded to 18; exponents beyond +-300 are no number.
std::optional<Decimal> parse_decimal(std::string_view text);

/// A value to show: exact where the arithmetic was, else a binary fraction.
struct Number {
  enum class Kind : std::uint8_t {
    exact,    // (negative ? - : +) magnitude x 10^-decimals
    rounded,  // real, shown with `decimals` places
    real,     // real, shown by its shortest text
  };
  std::uint64_t magnitude = 0;
  double real = 0;  // kinds rounded and real
  Kind kind = Kind::exact;
  std::uint8_t decimals = 0;  // 0..20 for exact, 0..17 for rounded
  bool negative = false;      // exact only; never with magnitude 0

  double to_double() const;
};

inline constexpr std::size_t kNumberChars = 352;  // room that write_number() may need

/// Writes the number as JSON would have it ("-40.25", "2.500": the places show the resolution; no value that
/// is not finite is written as a number: "nan", "inf" are left to the caller, see is_finite). Returns the
/// end. `out` has kNumberChars room.
char* write_number(char* out, const Number& number);
bool is_finite(const Number& number);
std::string format_number(const Number& number);

}  // namespace tramlog
