// Words for the set bits of a byte from the bus.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

namespace tramlog {

/// A bit (or bits) that has a meaning when it is set.
struct BitWord {
  std::uint8_t mask;
  const char* words;
};

/// Words of the set bits, joined with ", "; bits without words as "bit 0x40". "" if none is set.
template <std::size_t count>
std::string bit_words(std::uint8_t bits, const BitWord (&table)[count]) {
  std::string text;
  const auto add = [&](std::string_view words) {
    if (!text.empty()) text += ", ";
    text += words;
  };
  std::uint8_t left = bits;
  for (const BitWord& word : table)
    if (bits & word.mask) {
      add(word.words);
      left = static_cast<std::uint8_t>(left & ~word.mask);
    }
  for (unsigned bit = 0; bit < 8; ++bit)
    if (left >> bit & 1) {
      constexpr const char* kHex[] = {"0x01", "0x02", "0x04", "0x08", "0x10", "0x20", "0x40", "0x80"};
      add(std::string("bit ") + kHex[bit]);
    }
  return text;
}

}  // namespace tramlog
