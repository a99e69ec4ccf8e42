#include "base/decimal.hpp"

#include <array>
#include <charconv>
#include <cmath>
#include <cstdio>
#include <cstring>

namespace tramlog {
namespace {

constexpr int kMaxDigits = 18;
constexpr int kMaxExponent = 300;

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}

}  // namespace

double Decimal::to_double() const {
  // As long as both are exact, one multiplication or division rounds correctly.
  static constexpr std::array<double, 23> kPowers{1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                                  1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                                                  1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};
  constexpr std::int64_t kExact = std::int64_t{1} << 53;
  if (digits <= kExact && digits >= -kExact && exponent <= 22 && exponent >= -22) {
    const auto whole = static_cast<double>(digits);
    return exponent < 0 ? whole / kPowers[static_cast<std::size_t>(-exponent)]
                        : whole * kPowers[static_cast<std::size_t>(exponent)];
  }
  // Else by text, which is correctly rounded, too.
  std::array<char, 48> text;
  const int length = std::snprintf(text.data(), text.size(), "%llde%d", static_cast<long long>(digits),
                                   static_cast<int>(exponent));
  double value = 0;
  std::from_chars(text.data(), text.data() + length, value);
  return value;
}

std::string Decimal::to_string() const {
  if (exponent < -12 || exponent > 17) return std::to_string(digits) + "e" + std::to_string(exponent);
  if (exponent >= 0) return digits == 0 ? "0" : std::to_string(digits) + std::string(exponent, '0');
  Number number;
  number.negative = digits < 0;
  number.magnitude = digits < 0 ? 0 - static_cast<std::uint64_t>(digits) : static_cast<std::uint64_t>(digits);
  number.decimals = static_cast<std::uint8_t>(-exponent);
  return format_number(number);
}

std::optional<Decimal> parse_decimal(std::string_view text) {
  std::size_t at = 0;
  bool negative = false;
  if (at < text.size() && (text[at] == '-' || text[at] == '+')) negative = text[at++] == '-';
  std::int64_t digits = 0;
  int kept = 0;
  int exponent = 0;
  bool point = false;
  bool any = false;
  int round_up = -1;  // first digit that did not fit
  for (; at < text.size(); ++at) {
    const char c = text[at];
    if (c == '.' && !point) {
      point = true;
      continue;
    }
    if (!is_digit(c)) break;
    any = true;
    if (kept < kMaxDigits) {
      digits = digits * 10 + (c - '0');
      if (digits != 0) ++kept;
      if (point) --exponent;
    } else {
      if (round_up < 0) round_up = c - '0';
      if (!point) ++exponent;
    }
  }
  if (!any) return std::nullopt;
  if (round_up >= 5) ++digits;
  if (at < text.size()) {
    if (text[at] != 'e' && text[at] != 'E') return std::nullopt;
    ++at;
    if (at < text.size() && text[at] == '+') ++at;
    int power = 0;
    const char* end = text.data() + text.size();
    const auto [stop, fault] = std::from_chars(text.data() + at, end, power);
    if (fault != std::errc{} || stop != end || power > kMaxExponent || power < -kMaxExponent)
      return std::nullopt;
    exponent += power;
  }
  while (digits != 0 && digits % 10 == 0) {
    digits /= 10;
    ++exponent;
  }
  if (digits == 0) return Decimal{};
  if (exponent > kMaxExponent || exponent < -kMaxExponent) return std::nullopt;
  return Decimal{negative ? -digits : digits, static_cast<std::int16_t>(exponent)};
}

double Number::to_double() const {
  if (kind != Kind::exact) return real;
  std::array<char, 48> text;
  char* at = text.data();
  if (negative) *at++ = '-';
  at = std::to_chars(at, text.data() + text.size(), magnitude).ptr;
  *at++ = 'e';
  *at++ = '-';
  at = std::to_chars(at, text.data() + text.size(), decimals).ptr;
  double value = 0;
  std::from_chars(text.data(), at, value);
  return value;
}

char* write_number(char* out, const Number& number) {
  if (number.kind == Number::Kind::exact) {
    std::array<char, 24> buffer;
    const char* const begin = buffer.data();
    const char* const end = std::to_chars(buffer.data(), buffer.data() + buffer.size(), number.magnitude).ptr;
    if (number.negative) *out++ = '-';
    const auto length = static_cast<std::size_t>(end - begin);
    const std::size_t places = number.decimals;
    if (places == 0) {
      std::memcpy(out, begin, length);
      return out + length;
    }
    if (length > places) {
      std::memcpy(out, begin, length - places);
      out += length - places;
      *out++ = '.';
      std::memcpy(out, end - places, places);
      return out + places;
    }
    *out++ = '0';
    *out++ = '.';
    std::memset(out, '0', places - length);
    out += places - length;
    std::memcpy(out, begin, length);
    return out + length;
  }
  if (number.kind == Number::Kind::rounded) {
    char* const end =
        std::to_chars(out, out + kNumberChars, number.real, std::chars_format::fixed, number.decimals).ptr;
    // A rounded -0.00 is zero.
    if (*out == '-') {
      bool zero = true;
      for (const char* c = out + 1; c < end; ++c) zero = zero && (*c == '0' || *c == '.');
      if (zero) {
        std::memmove(out, out + 1, static_cast<std::size_t>(end - out - 1));
        return end - 1;
      }
    }
    return end;
  }
  return std::to_chars(out, out + kNumberChars, number.real).ptr;
}

bool is_finite(const Number& number) {
  return number.kind == Number::Kind::exact || std::isfinite(number.real);
}

std::string format_number(const Number& number) {
  std::array<char, kNumberChars> text;
  return {text.data(), write_number(text.data(), number)};
}

}  // namespace tramlog
