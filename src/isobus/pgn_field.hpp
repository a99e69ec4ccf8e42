// A PGN that is carried in three data bytes: in requests, acknowledgements and transport control messages.
#pragma once

#include <optional>

#include "base/bytes.hpp"
#include "can/can_id.hpp"

namespace tramlog {

/// Least significant byte first; nothing if it has more than 18 bits. Some senders leave a destination in the
/// low byte of a PDU1 number; it is no part of it and is cleared.
inline std::optional<Pgn> load_pgn_field(const std::uint8_t* at) {
  constexpr Pgn kLargest = 0x3FFFF;
  const Pgn pgn = load_le24(at);
  if (pgn > kLargest) return std::nullopt;
  const bool pdu1 = (pgn >> 8 & 0xFF) < 0xF0;
  return pdu1 ? pgn & ~Pgn{0xFF} : pgn;
}

}  // namespace tramlog
