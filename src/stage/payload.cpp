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
  const double speed = machine.key_on && machine.engine_runs ? speed_mm_s_ : 0;
  distance_mm_ += speed * seconds;
  const auto speed_raw = static_cast<std::uint32_t>(speed);
  const auto distance_raw = static_cast<std::uint32_t>(static_cast<std::uint64_t>(distance_mm_));
  bytes_[0] = static_cast<std::uint8_t>(speed_raw);
  bytes_[1] = static_cast<std::uint8_t>(speed_raw >> 8);
  for (unsigned k = 0; k < 4; ++k) bytes_[2 + k] = static_cast<std::uint8_t>(distance_raw >> (8 * k));
  bytes_[6] = machine.power_minutes;
  bytes_[7] = static_cast<std::uint8_t>(0x01 | (machine.key_on ? 0x04 : 0x00) | 0x30);
}

// Fact sheet, process data, 5.10, and 129026: SID, reference, course (0.0001 rad), speed (0.01 m/s).
void Payload::drive(const MachineState& machine, TimeNs) {
  const Drive& drive = machine.drive;
  const std::size_t source = spec_->builder == Builder::wheel_speed      ? 0
                             : spec_->builder == Builder::ground_speed   ? 1
                             : spec_->builder == Builder::selected_speed ? 2
                                                                         : 3;
  auto speed = static_cast<std::uint32_t>(std::clamp(drive.speed_mm_s[source] + 0.5, 0.0, 64255.0));
  if (drive.validity[source] == Drive::Validity::error) speed = 0xFE00;
  if (drive.validity[source] == Drive::Validity::not_available) speed = 0xFFFF;
  if (spec_->builder == Builder::course) {
    if (speed <= 0xFAFF) speed = (speed + 5) / 10;
    bytes_ = {0xFF, 0xFC, 0x10, 0x27, static_cast<std::uint8_t>(speed), static_cast<std::uint8_t>(speed >> 8),
              0xFF, 0xFF};
    return;
  }
  const auto distance = static_cast<std::uint32_t>(static_cast<std::uint64_t>(drive.distance_mm));
  bytes_[0] = static_cast<std::uint8_t>(speed);
  bytes_[1] = static_cast<std::uint8_t>(speed >> 8);
  for (unsigned k = 0; k < 4; ++k) bytes_[2 + k] = static_cast<std::uint8_t>(distance >> (8 * k));
  bytes_[6] = 0xFF;
  if (spec_->builder == Builder::wheel_speed) {
    bytes_[6] = machine.power_minutes;
    bytes_[7] = static_cast<std::uint8_t>(0x01 | (machine.key_on ? 0x04 : 0x00) | 0x30);
  } else if (spec_->builder == Builder::ground_speed) {
    bytes_[7] = 0xFD;
  } else {
    bytes_[6] = 0xC0;
    bytes_[7] = static_cast<std::uint8_t>(0x01 | drive.selected_source << 2 | 0xE0);
  }
}

// 129029: SID, date, time, latitude, longitude (1e-16 degrees), altitude, type and method, integrity,
// satellites, HDOP, PDOP, geoid.
void Payload::position(const MachineState& machine, TimeNs now) {
  const auto put = [this](std::size_t at, std::uint64_t value, unsigned width) {
    for (unsigned k = 0; k < width; ++k) bytes_[at + k] = static_cast<std::uint8_t>(value >> (8 * k));
  };
  const bool fix = machine.drive.fix != 0;
  const double north = machine.drive.distance_mm / 111.2e6;  // degrees
  constexpr std::uint64_t kUnknown = INT64_MAX;
  const auto latitude = static_cast<std::uint64_t>(52.31e16 + north * 1e16);
  const auto longitude = static_cast<std::uint64_t>(9.42e16);
  put(0, 0xFF, 1);
  put(1, 20'550, 2);  // days since 1970
  put(3, 223'200'000 + static_cast<std::uint64_t>(now / 100'000), 4);
  put(7, fix ? latitude : kUnknown, 8);
  put(15, fix ? longitude : kUnknown, 8);
  put(23, fix ? 84'000'000 : kUnknown, 8);
  put(31, machine.drive.fix << 4, 1);
  put(32, 0xFC, 1);
  put(33, machine.drive.fix == 4 ? 16 : fix ? 7 : 0, 1);
  put(34, 90, 2);
  put(36, 140, 2);
  put(38, 4600, 4);
  put(42, 0, 1);
}

// 65271: B5-6 battery potential, 0.05 V a bit (SPN 168).
void Payload::battery_voltage(const MachineState& machine, TimeNs now) {
  const double volts = machine.voltage != nullptr ? machine.voltage->at(now) : 14.2;
  const auto raw = static_cast<std::uint32_t>(
      std::clamp(volts / 0.05 + 0.5 + static_cast<double>(random_.between(-1, 1)), 0.0, 64255.0));
  bytes_ = {0xFF, 0xFF, 0xFF, 0xFF, static_cast<std::uint8_t>(raw), static_cast<std::uint8_t>(raw >> 8),
            0xFF, 0xFF};
}

// 61444: B4-5 engine speed, 0.125 1/min a bit (SPN 190).
void Payload::engine_speed(const MachineState& machine) {
  double rpm = 0;
  if (machine.cranking) {
    rpm = 180 + static_cast<double>(random_.between(-30, 30));
  } else if (machine.engine_runs && machine.key_on) {
    rpm = 1650 + static_cast<double>(random_.between(-12, 12));
  }
  const auto raw = static_cast<std::uint32_t>(rpm * 8);
  bytes_ = {0xFF, 0xFF, 0xFF, static_cast<std::uint8_t>(raw), static_cast<std::uint8_t>(raw >> 8),
            0xFF, 0xFF, 0xFF};
}

const std::vector<std::uint8_t>& Payload::not_available() {
  constexpr std::size_t kMethod = 31;  // of 129029
  empty_ = bytes_;
  if (empty_.size() > kMethod) {
    empty_[kMethod] = 0;
  } else {
    std::fill_n(empty_.begin(), std::min<std::size_t>(empty_.size(), 6), std::uint8_t{0xFF});
  }
  return empty_;
}

const std::vector<std::uint8_t>& Payload::next(const MachineState& machine, TimeNs now) {
  switch (spec_->builder) {
    case Builder::fixed:
      break;
    case Builder::wheel_speed:
      if (machine.drive.active) {
        drive(machine, now);
      } else {
        wheel_speed(machine, now);
      }
      break;
    case Builder::ground_speed:
    case Builder::selected_speed:
    case Builder::course:
      drive(machine, now);
      break;
    case Builder::position:
      position(machine, now);
      break;
    case Builder::battery_voltage:
      battery_voltage(machine, now);
      break;
    case Builder::engine_speed:
      engine_speed(machine);
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
