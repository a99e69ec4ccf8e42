// Where a position receiver says that it is (fact sheet, signals, 3). Pure parsing.
#pragma once

#include <optional>

#include "base/bytes.hpp"
#include "can/can_id.hpp"

namespace tramlog {

inline constexpr Pgn kPgnRapidPosition = 129025, kPgnPositionData = 129029,
                     kPgnVehiclePosition = 0xFEF3;  // 65267

struct Position {
  double latitude_deg = 0, longitude_deg = 0;  // north and east positive
};

/// 129025: B1-4 latitude, B5-8 longitude, signed, 1e-7 degrees. 129029: B8-15 and B16-23, signed, 1e-16
/// degrees. 65267: B1-4 and B5-8, 1e-7 degrees from -210, above 0xFAFFFFFF none. None for other PGNs, shorter
/// messages, and what lies beyond 90 or 180 degrees.
std::optional<Position> parse_position(Pgn pgn, Bytes data);

}  // namespace tramlog
