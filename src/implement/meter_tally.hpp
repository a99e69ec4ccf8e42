// What was measured at one meter, as plain data: a set quantity and the delivered one at one element.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/step_series.hpp"
#include "implement/families.hpp"
#include "implement/meter_hunting.hpp"
#include "implement/records.hpp"

namespace tramlog {

/// A step with what the lines need beyond the record.
struct MeasuredStep {
  StepRecord record;
  double before_raw = 0;  // delivered before
  double watched_s = 0;   // undisturbed time with delivered values
  double dead_doubt_s = 0, rise_doubt_s = 0, overshoot_doubt_pct = 0;
  bool unsteady = false;  // it swings and does not settle
  bool from_swings =
      false;            // the rate swung so much before that the answer cannot be told from it, if it hunts
  bool judged = false;  // an answer could be expected: not manual, not at the limit, not to zero
};

/// Delivered rate against one set rate over an undisturbed stretch after it settled.
struct SettledStretch {
  Mark start;
  double length_s = 0;
  std::int64_t set_raw = 0;
  double mean_raw = 0;
  bool counts = true;    // not manual, not at the declared limit, not without answer, not without flow
  bool delivers = true;  // not manual, not without flow
};

/// A condition that must hold for some time to be worth telling.
struct Episodes {
  std::uint64_t count = 0;  // that lasted long enough
  double total_s = 0;       // time in which the condition held, long enough or not
  double longest_s = 0;
  std::vector<Moment> moments;  // beginnings, at most kMaxMoments; texts are written with the lines

  /// The condition holds (or not) over the next `span_s` that end at `now`.
  void note(bool holds, double span_s, double limit_s, Mark begin);
  void add(const Episodes& others);
  void interrupt() {
    run_s_ = 0;
    told_ = false;
  }

 private:
  double run_s_ = 0;
  bool told_ = false;
  Mark begin_;
};

struct MeterTally {
  static constexpr std::size_t kMaxSteps = 64;
  static constexpr std::size_t kMaxStretches = 256;

  const QuantityFamily* family = nullptr;
  std::uint16_t element = 0;
  std::optional<std::uint16_t> set_element;  // where the set rate is; none: nowhere
  bool set_ambiguous = false;                // several elements might hold it
  std::uint64_t set_count = 0, actual_count = 0;
  std::optional<std::int64_t> last_set_raw, last_actual_raw, greatest_set_raw;
  std::optional<std::int64_t> maximum_raw, minimum_raw;  // declared
  std::optional<double> sample_period_s;
  bool on_change = false;
  bool work_known = false;  // it was told whether the machine works
  bool worked = false;
  bool manual = false;  // the prescription control state said manual while a set rate was written

  std::vector<MeasuredStep> steps;
  std::uint64_t steps_not_listed = 0;
  std::vector<SettledStretch> settled;
  HuntingJudge hunting;
  double hunting_watched_s = 0;  // settled time that could show an oscillation
  double longest_watched_s = 0;  // the longest stretch of it
  std::optional<Mark> hunting_since;
  double speed_swings_s = 0;  // time in which the speed itself swung

  double working_s = 0, outside_s = 0;        // with a set rate and values; outside the tolerance
  double steady_s = 0, steady_outside_s = 0;  // the same without the time that an answer may take
  double delivering_s = 0;                    // working and delivering
  double checked_set_s = 0;                   // working, with values, set rate known (also zero)
  Episodes no_set_rate, at_limit, flow_stopped;
  StepSeries set_series, actual_series;  // raw, over the whole recording
};

}  // namespace tramlog
