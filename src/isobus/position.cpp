#include "isobus/position.hpp"

namespace tramlog {
namespace {

std::int64_t signed64(const std::uint8_t* at) {
  return static_cast<std::int64_t>(std::uint64_t{load_le32(at + 4)} << 32 | load_le32(at));
}

std::optional<Position> within(double latitude, double longitude) {
  if (latitude < -90 || latitude > 90 || longitude < -180 || longitude > 180) return std::nullopt;
  return Position{latitude, longitude};
}

}  // namespace

std::optional<Position> parse_position(Pgn pgn, Bytes data) {
  const std::uint8_t* b = data.data();
  if (pgn == kPgnRapidPosition && data.size() >= 8)
    return within(static_cast<std::int32_t>(load_le32(b)) * 1e-7,
                  static_cast<std::int32_t>(load_le32(b + 4)) * 1e-7);
  if (pgn == kPgnVehiclePosition && data.size() >= 8)
    return within(load_le32(b) * 1e-7 - 210, load_le32(b + 4) * 1e-7 - 210);
  if (pgn == kPgnPositionData && data.size() >= 23)
    return within(static_cast<double>(signed64(b + 7)) * 1e-16,
                  static_cast<double>(signed64(b + 15)) * 1e-16);
  return std::nullopt;
}

}  // namespace tramlog
