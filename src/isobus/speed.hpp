// The speeds that an ISO 11783 bus tells (fact sheet, process data, 5.10; signals, 1 and 3). Pure parsing.
#pragma once

#include <cstdint>
#include <optional>

#include "base/bytes.hpp"
#include "can/can_id.hpp"

namespace tramlog {

enum class SpeedSource : std::uint8_t {
  wheel,
  ground,
  selected,
  positioning
};  // FE48, FE49, F022, 129026 (or FEE8)
inline constexpr std::size_t kSpeedSources = 4;
const char* speed_source_term(SpeedSource source);  // "wheel-based speed", ..

/// None if no message of this PGN tells a speed.
std::optional<SpeedSource> speed_source_of(Pgn pgn);

struct ToldSpeed {
  std::optional<double> mm_s;  // never negative; none: not available or in error
  bool in_error = false;
};
/// 65096, 65097, 61474: B1-B2, 0.001 m/s; 129026: B5-B6, 0.01 m/s, its three largest values are none; 65256: B3-B4, 1/256 km/h. None if it
/// is no such message or shorter than 8 bytes.
std::optional<ToldSpeed> parse_speed(Pgn pgn, Bytes data);

}  // namespace tramlog
