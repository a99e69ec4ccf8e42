// The answer of a meter to a new set rate: dead time, rise time, overshoot and where it settles, by the
// definitions
//   dead time = t5, rise time = t90 - t10 (first crossings of 5, 10, 90 % of the change, from the frame with
//   the set rate), overshoot = beyond the settled rate, in % of the change.
#pragma once

#include <optional>
#include <span>

#include "implement/meter_trace.hpp"

namespace tramlog {

struct StepInput {
  std::span<const RateSample> after;  // samples from the step on, in time order
  double at_s = 0, until_s = 0;       // from the set rate's frame to what ended the undisturbed time
  double before = 0;                  // delivered rate before
  double ripple = 0;                  // of the rate before: half of peak to peak
  double target = 0;                  // new set rate
  double set_change = 0;              // new set rate less the old one, not 0
  Sampling sampling;
};

struct StepAnswer {
  bool answered = false;  // the rate moved towards the new set rate, beyond its ripple
  bool unclear = false;   // it stands between the old rate and the new one: neither an answer nor none
  bool complete = false;  // it settled
  bool unsteady = false;  // long enough to settle, but it swings
  std::optional<double> dead_time_s, rise_time_s, overshoot_pct, settled;
  double dead_doubt_s = 0, rise_doubt_s = 0;  // the gaps between the samples that the times lie in
  double overshoot_doubt_pct = 0;
  double watched_s = 0;       // time with delivered values after the step
  double settled_from_s = 0;  // from the step; where the rate may be called settled (complete only)
};

StepAnswer measure_step(const StepInput& input);

}  // namespace tramlog
