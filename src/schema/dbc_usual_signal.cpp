#include "schema/dbc_usual_signal.hpp"

#include <cstdint>
#include <string_view>

namespace tramlog {
namespace {

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}

bool is_plain(char c) {
  return static_cast<unsigned char>(c) >= ' ' && static_cast<unsigned char>(c) < 0x80;
}

// Walks along the line; once something is missing, `at` stays null.
struct Walk {
  const char* at;
  const char* end;

  void blanks() {
    while (at != nullptr && at != end && *at == ' ') ++at;
  }
  void mark(char wanted) {
    if (at != nullptr) at = at != end && *at == wanted ? at + 1 : nullptr;
  }
  bool either(char yes, char no) {
    const bool is_yes = at != nullptr && at != end && *at == yes;
    mark(is_yes ? yes : no);
    return is_yes;
  }
  std::uint32_t digits(int most) {
    if (at == nullptr) return 0;
    const char* const begin = at;
    std::uint32_t value = 0;
    for (; at != end && is_digit(*at) && at - begin < most; ++at)
      value = value * 10 + static_cast<std::uint32_t>(*at - '0');
    if (at == begin) at = nullptr;
    return value;
  }
  Decimal decimal() {
    Decimal value;
    if (at != nullptr) at = read_usual_decimal(at, end, value);
    return value;
  }
  // ASCII up to the closing quote, which is taken, too.
  std::string_view plain_text() {
    const char* const begin = at;
    if (at == nullptr) return {};
    while (at != end && *at != '"' && *at != '\\' && is_plain(*at)) ++at;
    const std::string_view text(begin, static_cast<std::size_t>(at - begin));
    mark('"');
    return text;
  }
};

}  // namespace

const char* read_usual_decimal(const char* at, const char* end, Decimal& value) {
  constexpr std::ptrdiff_t kMostChars = 18;
  const char* const limit = end - at > kMostChars ? at + kMostChars : nullptr;
  if (limit != nullptr) end = limit;
  const bool negative = at != end && *at == '-';
  if (negative) ++at;
  const char* const first = at;
  std::int64_t digits = 0;
  std::int16_t exponent = 0;
  for (; at != end && is_digit(*at); ++at) digits = digits * 10 + (*at - '0');
  if (at == first) return nullptr;
  if (at != end && *at == '.') {
    const char* const point = at++;
    for (; at != end && is_digit(*at); ++at) digits = digits * 10 + (*at - '0');
    exponent = static_cast<std::int16_t>(point + 1 - at);
    if (exponent == 0) return nullptr;
  }
  if (at == limit) return nullptr;  // it may go on
  value = {};
  if (digits == 0) return at;
  for (; digits % 10 == 0; digits /= 10) ++exponent;
  value = {negative ? -digits : digits, exponent};
  return at;
}

const char* read_usual_signal(const char* at, const char* end, DbcSignal& signal) {
  constexpr int kMostStartDigits = 9;
  constexpr int kMostLengthDigits = 2;
  Walk walk{at, end};
  walk.blanks();
  const std::uint32_t start = walk.digits(kMostStartDigits);
  walk.mark('|');
  const std::uint32_t length = walk.digits(kMostLengthDigits);
  walk.mark('@');
  const bool little = walk.either('1', '0');
  const bool is_signed = walk.either('-', '+');
  walk.blanks();
  walk.mark('(');
  const Decimal factor = walk.decimal();
  walk.mark(',');
  const Decimal offset = walk.decimal();
  walk.mark(')');
  walk.blanks();
  walk.mark('[');
  const Decimal minimum = walk.decimal();
  walk.mark('|');
  const Decimal maximum = walk.decimal();
  walk.mark(']');
  walk.blanks();
  walk.mark('"');
  const std::string_view unit = walk.plain_text();
  if (walk.at == nullptr || length == 0 || length > 64) return nullptr;
  const bool any_range = minimum.digits != 0 || maximum.digits != 0;
  if (any_range && minimum.to_double() > maximum.to_double()) return nullptr;

  signal.start_bit = start;
  signal.bit_length = static_cast<std::uint16_t>(length);
  signal.order = little ? ByteOrder::little : ByteOrder::big;
  if (is_signed) signal.encoding = Encoding::signed_integer;
  signal.factor = factor;
  signal.offset = offset;
  if (any_range) {
    signal.minimum = minimum;
    signal.maximum = maximum;
  }
  signal.unit = unit;
  return walk.at;
}

}  // namespace tramlog
