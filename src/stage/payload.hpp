// Payloads that live: counters, random values, walks, and a few messages of the trade.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "stage/power.hpp"
#include "stage/random.hpp"
#include "stage/scenario.hpp"

namespace tramlog::stage {

/// How the machine drives, and what its sensors make of it; kept by an implement if there is one, else by the
/// wheels: then all sources agree.
struct Drive {
  enum class Validity : std::uint8_t { good, error, not_available };
  bool active = false;
  std::array<double, 4> speed_mm_s{};  // wheel, ground, machine selected, over ground by positioning
  std::array<Validity, 4> validity{};
  double distance_mm = 0;
  unsigned selected_source = 1;  // F022 B8: 0 wheel, 1 ground
  unsigned fix = 4;              // method of 129029: 0 none, 1 single, 4 RTK

  void follow_wheels(unsigned mm_s, std::uint32_t mm) {
    speed_mm_s.fill(mm_s);
    distance_mm = mm;
  }
};

/// What a payload has to know about the machine.
struct MachineState {
  bool key_on = true;
  std::uint8_t power_minutes = 3;  // B7 of wheel-based speed
  Drive drive;
  const VoltageCurve* voltage = nullptr;
  bool engine_runs = true, cranking = false;
};

class Payload {
 public:
  Payload(const PayloadSpec& spec, std::uint64_t seed);

  /// The sender starts (again): counters keep, "initiating" bits come back.
  void restart() { first_ = true; }
  /// The bytes of the next sending; valid until the next call.
  const std::vector<std::uint8_t>& next(const MachineState& machine, TimeNs now);
  const std::vector<std::uint8_t>& last() const { return bytes_; }
  bool tells_wheel_speed() const { return spec_->builder == Builder::wheel_speed; }
  /// The bytes of next() with their quantity "not available": speed and distance, position, or a fix without
  /// method.
  const std::vector<std::uint8_t>& not_available();

 private:
  void vary(std::size_t i);
  void wheel_speed(const MachineState& machine, TimeNs now);
  void drive(const MachineState& machine, TimeNs now);
  void battery_voltage(const MachineState& machine, TimeNs now);
  void engine_speed(const MachineState& machine);
  void position(const MachineState& machine, TimeNs now);

  const PayloadSpec* spec_;
  Random random_;
  std::vector<std::uint8_t> bytes_, empty_;
  std::vector<std::int64_t> values_;
  double speed_mm_s_ = 2600;
  double distance_mm_ = 0;
  TimeNs last_ = -1;
  bool first_ = true;
};

}  // namespace tramlog::stage
