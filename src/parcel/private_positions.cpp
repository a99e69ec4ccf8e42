// The part of the rules that is about positions.
#include "parcel/private_fields.hpp"
#include "parcel/private_rules.hpp"

namespace tramlog {
namespace {

constexpr Pgn kRapidPosition = 129025, kPositionData = 129029, kVehiclePosition = 0xFEF3;

/// Scale of one message.
struct Grid {
  double step_deg;
  std::int64_t most_latitude, most_longitude;
  bool holds_latitude(std::int64_t v) const { return v >= -most_latitude && v <= most_latitude; }
  bool holds_longitude(std::int64_t v) const { return v >= -most_longitude && v <= most_longitude; }
  /// Out of range, but one that says neither "not available" nor "error": it may be half of a true position.
  std::int64_t beyond(std::int64_t v) const { return v < 0 ? -most_longitude - 1 : most_longitude + 1; }
};
constexpr Grid kFine{1e-7, 900'000'000, 1'800'000'000};
constexpr Grid kFinest{1e-16, 900'000'000'000'000'000, 1'800'000'000'000'000'000};
constexpr std::int64_t kVehicleOffset = 2'100'000'000;  // 65267 counts from -210 degrees
constexpr std::uint32_t kVehicleSpecial = 0xFB000000;   // from here on: error, not available

std::int64_t signed32(const std::uint8_t* at) {
  return static_cast<std::int32_t>(load_le32(at));
}
std::int64_t signed64(const std::uint8_t* at) {
  return static_cast<std::int64_t>(load_le64(at));
}

/// The stand-ins of both coordinates; those that are no coordinates stay what they are.
GridPosition stand_in(const Grid& grid, MadeUpTrack& track, GridPosition place, bool latitude_special,
                      bool longitude_special) {
  const bool both = grid.holds_latitude(place.latitude) && grid.holds_longitude(place.longitude);
  const GridPosition made_up = both ? track.next(place) : track.latest();
  GridPosition result = place;
  if (!latitude_special)
    result.latitude = grid.holds_latitude(place.latitude) ? made_up.latitude : grid.beyond(place.latitude);
  if (!longitude_special)
    result.longitude = grid.holds_longitude(place.longitude) ? 0 : grid.beyond(place.longitude);
  return result;
}

/// 129025: the three greatest values say that there is none.
bool is_special32(std::int64_t v) {
  return v >= 0x7FFFFFFD;
}
bool is_special64(std::int64_t v) {
  return v >= INT64_MAX - 2;
}

}  // namespace

MadeUpTrack& PrivateRules::track_of(const MessageHead& head, double step_deg) {
  ++positions_;
  return tracks_.try_emplace({head.bus, head.source, head.pgn}, step_deg).first->second;
}

void PrivateRules::rewrite_rapid_position(const MessageHead& head, std::span<std::uint8_t> data) {
  if (data.size() < 8) return std::fill(data.begin(), data.end(), std::uint8_t{0xFF});  // half a position
  const GridPosition place{signed32(data.data()), signed32(data.data() + 4)};
  const GridPosition made = stand_in(kFine, track_of(head, kFine.step_deg), place,
                                     is_special32(place.latitude), is_special32(place.longitude));
  store_le32(data.data(), static_cast<std::uint32_t>(made.latitude));
  store_le32(data.data() + 4, static_cast<std::uint32_t>(made.longitude));
  std::fill(data.begin() + 8, data.end(), std::uint8_t{0xFF});
}

void PrivateRules::rewrite_vehicle_position(const MessageHead& head, std::span<std::uint8_t> data) {
  if (data.size() < 8) return std::fill(data.begin(), data.end(), std::uint8_t{0xFF});
  const std::uint32_t latitude = load_le32(data.data()), longitude = load_le32(data.data() + 4);
  const GridPosition place{std::int64_t{latitude} - kVehicleOffset, std::int64_t{longitude} - kVehicleOffset};
  const GridPosition made = stand_in(kFine, track_of(head, kFine.step_deg), place,
                                     latitude >= kVehicleSpecial, longitude >= kVehicleSpecial);
  store_le32(data.data(), static_cast<std::uint32_t>(made.latitude + kVehicleOffset));
  store_le32(data.data() + 4, static_cast<std::uint32_t>(made.longitude + kVehicleOffset));
  std::fill(data.begin() + 8, data.end(), std::uint8_t{0xFF});
}

void PrivateRules::rewrite_position_data(const MessageHead& head, std::span<std::uint8_t> data) {
  // Latitude B8-15, longitude B16-23, altitude B24-31, geoidal separation B39-42, from B44 on four bytes for
  // each reference station: kind (4 bits), number (12 bits), age.
  constexpr std::size_t kLatitude = 7, kLongitude = 15, kAltitude = 23, kSeparation = 38, kStations = 43;
  if (data.size() < kStations) {
    if (data.size() > kLatitude) std::fill(data.begin() + kLatitude, data.end(), std::uint8_t{0xFF});
    return;
  }
  std::uint8_t* at = data.data();
  const GridPosition place{signed64(at + kLatitude), signed64(at + kLongitude)};
  const GridPosition made = stand_in(kFinest, track_of(head, kFinest.step_deg), place,
                                     is_special64(place.latitude), is_special64(place.longitude));
  store_le64(at + kLatitude, static_cast<std::uint64_t>(made.latitude));
  store_le64(at + kLongitude, static_cast<std::uint64_t>(made.longitude));
  if (!is_special64(signed64(at + kAltitude))) store_le64(at + kAltitude, 0);
  if (!is_special32(signed32(at + kSeparation))) store_le32(at + kSeparation, 0);
  for (std::size_t station = kStations; station + 2 <= data.size(); station += 4) {
    at[station] &= 0x0F;
    at[station + 1] = 0;
  }
}

bool tells_true_position(const MessageHead& head, Bytes data) {
  switch (head.pgn) {
    case kRapidPosition:
      return data.size() >= 8 && kFine.holds_longitude(signed32(data.data() + 4)) &&
             signed32(data.data() + 4) != 0;
    case kVehiclePosition: {
      if (data.size() < 8) return false;
      const std::int64_t longitude = std::int64_t{load_le32(data.data() + 4)} - kVehicleOffset;
      return kFine.holds_longitude(longitude) && longitude != 0;
    }
    case kPositionData:
      return data.size() >= 23 && kFinest.holds_longitude(signed64(data.data() + 15)) &&
             signed64(data.data() + 15) != 0;
    default:
      return false;
  }
}

}  // namespace tramlog
