// How tellers name things: the same words in every remark. Everything that is built from bytes of the bus is
// safe to print and of bounded length.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/bytes.hpp"
#include "decode/teller.hpp"
#include "isobus/diagnostics.hpp"
#include "isobus/name.hpp"

namespace tramlog {

inline constexpr std::size_t kMaxRemarkItems = 64;   // of one list; then "and 12 more"
inline constexpr std::size_t kMaxRemarkBytes = 64;   // of bytes shown in hex
inline constexpr std::size_t kMaxRemarkChars = 256;  // of a text taken from the message, in bytes

/// "WheelBasedSpeedDist, PGN 65096 (0xFE48)"; "PGN 65400 (0xFF78)" if the schema does not know it.
std::string pgn_title(const Schema& schema, Pgn pgn);

/// "SPN 168 FMI 4: battery potential, voltage too low or shorted to ground; 3 times".
std::string dtc_words(const Schema& schema, const Dtc& dtc);

/// "rate control (planters / seeders), function instance 1, manufacturer 1000, identity 74565, NAME a00..".
std::string name_words(Name name);

/// Bytes of a text field, safe to print and cut at kMaxRemarkChars: "\"abc\"". "" if there is none.
std::string quoted_text(Bytes bytes);
/// "0a ff", cut at kMaxRemarkBytes.
std::string short_hex(Bytes bytes);

/// "4711"; "none" for 0xFFFF.
std::string object_id_words(std::uint16_t id);

/// A bit that has a meaning when it is set.
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

/// A date and time of day that the bus gave: days since 1970-01-01 and 0.0001 s since midnight. "2026-04-07
/// 06:12:00.1234".
std::string days_and_time_words(std::uint32_t days, std::uint32_t ten_thousandths);
/// Gregorian date of a day count (any of 16 bits).
struct CivilDate {
  int year = 1970;
  unsigned month = 1, day = 1;
};
CivilDate civil_date(std::uint32_t days_since_1970);

/// The remark of a message that is too short for what it should say.
void remark_too_short(std::vector<Remark>& remarks, const Message& message, std::size_t needed);

}  // namespace tramlog
