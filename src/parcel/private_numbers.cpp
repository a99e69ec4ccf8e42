#include "parcel/private_numbers.hpp"

#include <algorithm>
#include <cctype>
#include <charconv>
#include <optional>
#include <string>

namespace tramlog {
namespace {

using Text = std::span<std::uint8_t>;
using Identities = std::map<std::uint32_t, std::uint32_t>;

constexpr std::uint32_t kLeast = 1000;  // smaller ones are just numbers
constexpr std::uint32_t kLeastBare = 0x1000;
constexpr std::size_t kMostHexDigits = 8, kBareDigits = 6, kBareWithLetter = 5;

bool is_digit(std::uint8_t c) {
  return c >= '0' && c <= '9';
}
bool is_hex_digit(std::uint8_t c) {
  return std::isxdigit(c) != 0;
}

std::optional<std::uint32_t> number_in(const char* begin, const char* end, int base) {
  std::uint32_t number = 0;
  const auto [stop, error] = std::from_chars(begin, end, number, base);
  if (error != std::errc{} || stop != end) return std::nullopt;
  return number;
}
std::optional<std::uint32_t> number_in(Text digits, int base) {
  const auto* begin = reinterpret_cast<const char*>(digits.data());
  return number_in(begin, begin + digits.size(), base);
}

void write(Text digits, std::uint32_t number, std::uint32_t base) {
  const bool upper =
      std::any_of(digits.begin(), digits.end(), [](std::uint8_t c) { return c >= 'A' && c <= 'F'; });
  const char* const signs = upper ? "0123456789ABCDEF" : "0123456789abcdef";
  for (std::size_t i = digits.size(); i-- > 0; number /= base)
    digits[i] = static_cast<std::uint8_t>(signs[number % base]);
}

bool replace(Text digits, int base, std::uint32_t least, const Identities& identities) {
  const auto number = number_in(digits, base);
  if (!number || *number < least) return false;
  const auto found = identities.find(*number);
  if (found == identities.end()) return false;
  write(digits, found->second, static_cast<std::uint32_t>(base));
  return true;
}

bool replace_hex(Text text, const Identities& identities) {
  bool changed = false;
  for (std::size_t at = 0; at < text.size();) {
    if (!is_hex_digit(text[at])) {
      ++at;
      continue;
    }
    if (text[at] == '0' && at + 1 < text.size() && (text[at + 1] == 'x' || text[at + 1] == 'X')) {
      at += 2;
      continue;
    }
    const std::size_t begin = at;
    while (at < text.size() && is_hex_digit(text[at])) ++at;
    const Text digits = text.subspan(begin, at - begin);
    if (digits.size() > kMostHexDigits) continue;
    const bool told =
        begin >= 2 && text[begin - 2] == '0' && (text[begin - 1] == 'x' || text[begin - 1] == 'X');
    const bool alone = (begin == 0 || std::isalnum(text[begin - 1]) == 0) &&
                       (at == text.size() || std::isalnum(text[at]) == 0);
    const auto numerals = std::count_if(digits.begin(), digits.end(), is_digit);
    const bool mixed = numerals > 0 && static_cast<std::size_t>(numerals) < digits.size();
    const bool bare = alone && digits.size() >= (mixed ? kBareWithLetter : kBareDigits) && numerals > 0;
    if (told || bare) changed = replace(digits, 16, told ? kLeast : kLeastBare, identities) || changed;
  }
  return changed;
}

bool replace_decimal(Text text, const Identities& identities) {
  bool changed = false;
  for (auto at = text.begin(); (at = std::find_if(at, text.end(), is_digit)) != text.end();) {
    const auto end = std::find_if_not(at, text.end(), is_digit);
    changed = replace({at, end}, 10, kLeast, identities) || changed;
    at = end;
  }
  return changed;
}

}  // namespace

bool replace_identity_numbers(Text text, const Identities& identities) {
  const bool hex = replace_hex(text, identities);
  return replace_decimal(text, identities) || hex;
}

bool reads_as_identity(std::uint64_t number, const Identities& identities) {
  const auto known = [&](std::optional<std::uint32_t> value) { return value && identities.contains(*value); };
  if (number <= UINT32_MAX && identities.contains(static_cast<std::uint32_t>(number))) return true;
  if (number < kLeast) return false;
  char text[20];
  char* end = std::to_chars(std::begin(text), std::end(text), number).ptr;
  if (known(number_in(text, end, 16))) return true;
  end = std::to_chars(std::begin(text), std::end(text), number, 16).ptr;
  return known(number_in(text, end, 10));
}

}  // namespace tramlog
