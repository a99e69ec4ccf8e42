// Requests and their acknowledgements (ISO 11783-3; fact sheet, network and diagnostics, 4.1 to 4.3). Plain
// parsers: who asked whom, and what became of it, is kept elsewhere.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "base/bytes.hpp"
#include "can/can_id.hpp"

namespace tramlog {

inline constexpr Pgn kPgnAcknowledgement = 0xE800;        // 59392, destination 255 or the requester
inline constexpr Pgn kPgnRequest = 0xEA00;                // 59904, destination one or 255
inline constexpr Pgn kPgnRequestRepetitionRate = 0xCC00;  // 52224, destination one

/// B1-3 of a request, least significant byte first. Three bytes or more are accepted (some pad to eight).
/// Nothing if it is shorter or asks for a number of more than 18 bits. The low byte of a PDU1 number is
/// cleared.
std::optional<Pgn> parse_request(Bytes data);

struct RepetitionRateRequest {
  Pgn pgn = 0;
  std::uint16_t period_ms = 0;  // B4-5, as sent
};
/// Five bytes or more; else as parse_request.
std::optional<RepetitionRateRequest> parse_repetition_rate_request(Bytes data);

enum class AcknowledgementKind : std::uint8_t {
  positive,       // control byte 0
  negative,       // 1: not supported or refused
  access_denied,  // 2: supported, but secured
  busy,           // 3: cannot respond, ask later
  reserved,       // 4..255
};

struct Acknowledgement {
  AcknowledgementKind kind = AcknowledgementKind::reserved;
  std::uint8_t control = 0;            // B1 as sent
  std::uint8_t group_function = 0xFF;  // B2; FF = none
  /// B5: source address of the requester. None if it is FF (oldest edition): the latest request that fits is
  /// meant.
  std::optional<Address> acknowledged;
  Pgn pgn = 0;  // B6-8, the one that was asked for
};
/// Eight bytes or more. Nothing if it is shorter or the number has more than 18 bits. The low byte of a PDU1
/// number is cleared.
std::optional<Acknowledgement> parse_acknowledgement(Bytes data);

/// "acknowledged", "not supported", "access denied", "busy", "control byte 7".
std::string acknowledgement_text(std::uint8_t control);

}  // namespace tramlog
