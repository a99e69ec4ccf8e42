#include "implement/machine_state.hpp"

#include <cmath>

namespace tramlog {

bool MachineState::wants(Pgn pgn) {
  return speed_source_of(pgn).has_value();
}

bool MachineState::take(const Message& message) {
  const auto source = speed_source_of(message.pgn);
  const auto told = parse_speed(message.pgn, message.data);
  if (!source || !told) return false;
  auto& kept = readings_[static_cast<std::size_t>(*source)];
  Sender& holder = senders_[static_cast<std::size_t>(*source)];
  const std::uint32_t who = message.source | message.pgn << 8;
  const SpanNs quiet = span_between(holder.spoke, message.start);
  if (kept && holder.who != who && quiet >= 0 && quiet < kSenderHolds) return false;
  const SpeedReading reading{told->mm_s, told->in_error, {message.start, message.first_frame}};
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
