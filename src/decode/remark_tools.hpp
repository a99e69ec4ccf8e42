// How tellers name things: the same words in every remark. Everything that is built from bytes of the bus is
// safe to print and of bounded length.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/bit_words.hpp"
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
