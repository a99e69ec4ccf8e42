// The 29-bit identifier of ISO 11783-3 / J1939-21 (fact sheet, network and diagnostics, 1.1).
#pragma once

#include <cstdint>

namespace tramlog {

using Pgn = std::uint32_t;
using Address = std::uint8_t;

inline constexpr Address kNullAddress = 0xFE;    // only as a source: no address yet, or cannot claim
inline constexpr Address kGlobalAddress = 0xFF;  // only as a destination: everybody
inline constexpr std::uint32_t kExtendedIdMask = 0x1FFFFFFF;
inline constexpr std::uint32_t kPriorityShift = 26;  // bits 28-26

/// Identifier bits 7-0.
constexpr Address source_of(std::uint32_t id) { return static_cast<Address>(id & 0xFF); }
/// Identifier bits 23-16.
constexpr std::uint8_t pdu_format_of(std::uint32_t id) { return static_cast<std::uint8_t>(id >> 16); }
/// PDU1 (PF below 240) carries a destination, PDU2 goes to everybody.
constexpr bool is_pdu1(std::uint32_t id) { return pdu_format_of(id) < 0xF0; }
/// 18 bits: EDP, DP, PF, and PS for PDU2; the low byte of a PDU1 PGN is 0.
constexpr Pgn pgn_of(std::uint32_t id) {
  const Pgn pgn = (id >> 8) & 0x3FFFF;
  return is_pdu1(id) ? pgn & 0x3FF00 : pgn;
}
/// Bits 15-8 for PDU1, else 255.
constexpr Address destination_of(std::uint32_t id) {
  return is_pdu1(id) ? static_cast<Address>(id >> 8) : kGlobalAddress;
}
/// 0 highest to 7 lowest.
constexpr unsigned priority_of(std::uint32_t id) { return (id >> kPriorityShift) & 7; }

/// Builds an identifier; `destination` is ignored for a PDU2 PGN.
constexpr std::uint32_t make_id(unsigned priority, Pgn pgn, Address source, Address destination = 0xFF) {
  const bool pdu1 = ((pgn >> 8) & 0xFF) < 0xF0;
  return priority << kPriorityShift | (pgn | (pdu1 ? destination : 0u)) << 8 | source;
}

}  // namespace tramlog
