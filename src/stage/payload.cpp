#include "stage/payload.hpp"

#include <algorithm>

namespace tramlog::stage {

Payload::Payload(const PayloadSpec& spec, std::uint64_t seed)
    : spec_(&spec), random_(seed), bytes_(spec.base) {
  for (const Variation& variation : spec.variations) {
    values_.push_back(variation.how == Variation::How::walk ? (variation.low + variation.high) / 2
                                                            : variation.low);
  }
}

void Payload::vary(std::size_t i) {
  const Variation& variation = spec_->variations[i];
  std::int64_t value = values_[i];
  switch (variation.how) {
    case Variation::How::counter:
      values_[i] = value + variation.step > variation.high ? variation.low : value + variation.step;
      break;
    case Variation::How::random:
      value = random_.between(variation.low, variation.high);
      break;
    case Variation::How::walk:
      value =
          std::clamp(value + random_.between(-variation.step, variation.step), variation.low, variation.high);
      values_[i] = value;
      break;
  }
  for (unsigned k = 0; k < variation.width; ++k) {
    bytes_[variation.byte - 1 + k] = static_cast<std::uint8_t>(static_cast<std::uint64_t>(value) >> (8 * k));
  }
}

// B1-2 speed mm/s, B3-6 distance mm, B7 minutes of power, 8.1 direction, 8.3 key switch (fact sheet 6.1).
void Payload::wheel_speed(const MachineState& machine, TimeNs now) {
  const double seconds = last_ < 0 ? 0 : to_seconds(now - last_);
  last_ = now;
  speed_mm_s_ = std::clamp(speed_mm_s_ + static_cast<double>(random_.between(-25, 25)), 1800.0, 3400.0);
  const double speed = machine.key_on ? speed_mm_s_ : 0;
  distance_mm_ += speed * seconds;
  const auto speed_raw = static_cast<std::uint32_t>(speed);
  const auto distance_raw = static_cast<std::uint32_t>(static_cast<std::uint64_t>(distance_mm_));
  bytes_[0] = static_cast<std::uint8_t>(speed_raw);
  bytes_[1] = static_cast<std::uint8_t>(speed_raw >> 8);
  for (unsigned k = 0; k < 4; ++k) bytes_[2 + k] = static_cast<std::uint8_t>(distance_raw >> (8 * k));
  bytes_[6] = machine.power_minutes;
  bytes_[7] = static_cast<std::uint8_t>(0x01 | (machine.key_on ? 0x04 : 0x00) | 0x30);
}

const std::vector<std::uint8_t>& Payload::next(const MachineState& machine, TimeNs now) {
  switch (spec_->builder) {
    case Builder::fixed:
      break;
    case Builder::wheel_speed:
      wheel_speed(machine, now);
      break;
    case Builder::ws_maintenance:
      bytes_ = {0xFF, static_cast<std::uint8_t>(first_ ? 0x01 : 0x00), 0x04, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF};
      break;
  }
  first_ = false;
  for (std::size_t i = 0; i < values_.size(); ++i) vary(i);
  return bytes_;
}

}  // namespace tramlog::stage
