#include "isobus/speed.hpp"

namespace tramlog {
namespace {

constexpr Pgn kWheel = 0xFE48, kGround = 0xFE49, kSelected = 0xF022;  // 65096, 65097, 61474
constexpr Pgn kCourseAndSpeed = 129026, kDirectionAndSpeed = 0xFEE8;  // 65256
constexpr unsigned kGreatestValid = 0xFAFF, kFirstError = 0xFE00, kLastError = 0xFEFF;

}  // namespace

std::optional<SpeedSource> speed_source_of(Pgn pgn) {
  switch (pgn) {
    case kWheel:
      return SpeedSource::wheel;
    case kGround:
      return SpeedSource::ground;
    case kSelected:
      return SpeedSource::selected;
    case kCourseAndSpeed:
    case kDirectionAndSpeed:
      return SpeedSource::positioning;
    default:
      return std::nullopt;
  }
}

const char* speed_source_term(SpeedSource source) {
  switch (source) {
    case SpeedSource::wheel:
      return "wheel-based speed";
    case SpeedSource::ground:
      return "ground-based speed";
    case SpeedSource::selected:
      return "machine selected speed";
    case SpeedSource::positioning:
      break;
  }
  return "positioning speed";
}

std::optional<ToldSpeed> parse_speed(Pgn pgn, Bytes data) {
  if (!speed_source_of(pgn) || data.size() < 8) return std::nullopt;
  const std::uint8_t* b = data.data();
  const unsigned raw = pgn == kCourseAndSpeed      ? load_le16(b + 4)
                       : pgn == kDirectionAndSpeed ? load_le16(b + 2)
                                                   : load_le16(b);
  const unsigned greatest = pgn == kCourseAndSpeed ? 0xFFFC : kGreatestValid;  // its own three special codes
  ToldSpeed told;
  if (raw > greatest)
    told.in_error = pgn == kCourseAndSpeed ? raw == 0xFFFE : raw >= kFirstError && raw <= kLastError;
  else
    told.mm_s = pgn == kCourseAndSpeed      ? raw * 10.0
                : pgn == kDirectionAndSpeed ? raw / 256.0 / 3.6 * 1000.0
                                            : static_cast<double>(raw);
  return told;
}

}  // namespace tramlog
