#include "implement/machine_state.hpp"

#include <cmath>

namespace tramlog {
namespace {

constexpr Pgn kWheel = 0xFE48, kGround = 0xFE49, kSelected = 0xF022;  // 65096, 65097, 61474
constexpr Pgn kCourseAndSpeed = 129026, kDirectionAndSpeed = 0xFEE8;  // 65256
constexpr unsigned kGreatestValid = 0xFAFF, kFirstError = 0xFE00, kLastError = 0xFEFF;

std::optional<SpeedSource> source_of_pgn(Pgn pgn) {
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

}  // namespace

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

bool MachineState::wants(Pgn pgn) {
  return source_of_pgn(pgn).has_value();
}

bool MachineState::take(const Message& message) {
  const auto source = source_of_pgn(message.pgn);
  if (!source || message.data.size() < 8) return false;
  auto& kept = readings_[static_cast<std::size_t>(*source)];
  Sender& holder = senders_[static_cast<std::size_t>(*source)];
  const std::uint32_t who = message.source | message.pgn << 8;
  const SpanNs quiet = span_between(holder.spoke, message.start);
  if (kept && holder.who != who && quiet >= 0 && quiet < kSenderHolds) return false;
  SpeedReading reading;
  reading.at = {message.start, message.first_frame};
  const std::uint8_t* b = message.data.data();
  // B1-B2, 0.001 m/s; 129026: B5-B6, 0.01 m/s; 65256: B3-B4, 1/256 km/h.
  const unsigned raw = message.pgn == kCourseAndSpeed      ? load_le16(b + 4)
                       : message.pgn == kDirectionAndSpeed ? load_le16(b + 2)
                                                           : load_le16(b);
  const unsigned greatest =
      message.pgn == kCourseAndSpeed ? 0xFFFC : kGreatestValid;  // its own three special codes
  if (raw > greatest) {
    reading.in_error =
        message.pgn == kCourseAndSpeed ? raw == 0xFFFE : raw >= kFirstError && raw <= kLastError;
  } else {
    reading.mm_s = message.pgn == kCourseAndSpeed      ? raw * 10.0
                   : message.pgn == kDirectionAndSpeed ? raw / 256.0 / 3.6 * 1000.0
                                                       : static_cast<double>(raw);
  }
  // A receiver that says nothing but "not available" does not keep out one that knows.
  if (!kept || holder.who != who || reading.mm_s || quiet < 0) holder = {who, message.start};
  kept = reading;
  return true;
}

std::optional<SpeedSource> MachineState::source(TimeNs now) const {
  for (const SpeedSource source :
       {SpeedSource::selected, SpeedSource::ground, SpeedSource::wheel, SpeedSource::positioning}) {
    const auto& kept = reading(source);
    if (kept && kept->mm_s &&
        std::abs(to_seconds(span_between(kept->at.time, now))) <= to_seconds(kSpeedHolds))
      return source;
  }
  return std::nullopt;
}

std::optional<double> MachineState::speed_mm_s(TimeNs now) const {
  const auto from = source(now);
  return from ? reading(*from)->mm_s : std::nullopt;
}

}  // namespace tramlog
