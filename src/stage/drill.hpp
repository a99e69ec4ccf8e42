// The drill itself: speed, work state, sections, meters, bins, blower. What really happens in the ground,
// integrated in steps of 5 ms; knows nothing of messages.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "stage/implement_spec.hpp"
#include "stage/random.hpp"

namespace tramlog::stage {

inline constexpr SpanNs kDrillStep = 5 * kMillisecond;

/// One change of a meter's set rate, as it arrived.
struct SetRate {
  TimeNs at = 0;     // scenario time of the frame's end
  TimeNs stamp = 0;  // as the logger stamps that frame
  double from = 0, to = 0;
  bool working = false;  // the machine worked when it came
};

class Meter {
 public:
  Meter(const MeterSpec& spec, std::uint64_t seed);

  void set(double raw, TimeNs now, TimeNs stamp, bool working, const FaultSpec* dead);
  /// One step; `working`: it turns.
  void step(TimeNs now, bool working, const std::vector<FaultSpec>& faults, unsigned number);
  /// What it would deliver to the square metre, without noise; raw units of the rate.
  double rate() const { return rate_; }
  double set_rate() const { return set_; }
  /// What it delivers now: 0 while it does not turn.
  double delivered() const { return delivered_; }
  /// What its sensor tells: delivered with noise.
  double sensed() const { return delivered_ * (1 + noise_); }

  double total = 0;  // raw units of the total
  double content = 0;
  std::vector<SetRate> changes;
  std::vector<float> trace;  // delivered, one value a step, from the first step on

 private:
  const MeterSpec& spec_;
  Random random_;
  std::vector<std::pair<TimeNs, double>> coming_;  // set rates on their way through the dead time
  double set_ = 0, driven_ = 0, state_ = 0, slope_ = 0, rate_ = 0, delivered_ = 0, noise_ = 0;
  bool fresh_ = true;
  unsigned steps_ = 0;
};

struct Section {
  bool commanded = false;
  bool open = false;   // the valve or clutch itself
  bool on = false;     // seed falls
  unsigned state = 0;  // as told: 0 off, 1 on, 2 error
  bool overridden = false;
  std::optional<TimeNs> changes_at;
  bool command_working = false;
  TimeNs command_at = 0;
  std::vector<double> on_delays, off_delays;  // s
};

class Drill {
 public:
  Drill(const ImplementSpec& spec, std::uint64_t seed);

  void step(TimeNs now);
  void set_rate(std::size_t meter, double raw, TimeNs now, TimeNs stamp);
  void command_section(std::size_t section, bool on, TimeNs now);
  /// Task totals start from 0.
  void reset_totals();

  const FaultSpec* fault(Trouble what, TimeNs now) const;
  /// m/s, true speed over ground.
  double speed() const { return speed_; }
  bool master_on() const { return master_; }
  bool implement_on() const { return implement_; }
  bool working() const { return working_; }  // seed falls somewhere and the machine moves
  double on_width_m() const { return on_width_m_; }

  std::vector<Meter> meters;
  std::vector<Section> sections;
  bool counting = false;  // a task runs
  double area_m2 = 0, distance_mm = 0, idle_distance_mm = 0, time_s = 0, odometer_mm = 0;
  double blower_rpm = 0, pressure_mbar = 0;
  struct Work {
    TimeNs at;
    bool master, on;
  };
  std::vector<Work> work_changes;

 private:
  void step_sections(TimeNs now);

  const ImplementSpec& spec_;
  Random random_;
  double speed_ = 0, on_width_m_ = 0;
  bool master_ = false, implement_ = false, working_ = false;
  TimeNs master_since_ = 0;
};

/// Knots with ramps between; before the first and after the last the value stays.
double ramped(const Knots& knots, TimeNs now, double otherwise);
/// The value of the last knot that has passed.
double stepped(const Knots& knots, TimeNs now, double otherwise);

}  // namespace tramlog::stage
