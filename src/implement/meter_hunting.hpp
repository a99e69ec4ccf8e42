// A steady oscillation of a delivered rate around its settled value: a control loop that hunts. Noise, ripple
// of the speed and what is left of a step are none.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "implement/meter_trace.hpp"

namespace tramlog {

struct Oscillation {
  double amplitude = 0;  // half of peak to peak, raw
  double period_s = 0;
  double cycles = 0;  // that were seen
  double mean = 0;    // rate in the middle
};

struct PeriodRange {
  double least_s = 1, greatest_s = 30;
};

/// The steady oscillation in one undisturbed stretch; none if there is none of at least `least_amplitude`, or
/// less than 0.9 of a cycle was seen. Values may be unevenly sampled; two and a half a period are needed.
std::optional<Oscillation> find_oscillation(std::span<const RateSample> samples, double least_amplitude,
                                            PeriodRange periods);
/// The same for the speed in the samples. None if it is not told.
std::optional<Oscillation> find_speed_oscillation(std::span<const RateSample> samples, double least_mm_s,
                                                  PeriodRange periods);

/// Oscillations of several stretches taken together: stretches are often too short for several cycles.
class HuntingJudge {
 public:
  static constexpr std::size_t kMost = 128;
  static constexpr std::size_t kMostPoints = 1200, kMostPerStretch = 120;
  static constexpr double kEnoughCycles = 3;  // with one period

  void add(const Oscillation& oscillation, double share_of_set);
  /// A settled stretch, with or without an oscillation of its own: the same swing may go on through several.
  /// `set`: its set rate, not 0.
  void add_stretch(std::span<const RateSample> samples, double set);

  /// Cycles, amplitude (raw and as share of the set rate) and period of those that agree with each other;
  /// none if they are fewer than kEnoughCycles, or weaker than `least_share` of the set rate.
  struct Hunting {
    Oscillation oscillation;
    double share_of_set = 0;
    std::size_t stretches = 0;
  };
  std::optional<Hunting> found(double least_share, PeriodRange periods) const;

 private:
  struct Entry {
    Oscillation oscillation;
    double share = 0;
  };
  struct Point {
    double t = 0, y = 0;  // as share of the set rate
  };
  struct Stretch {
    std::size_t first = 0, count = 0;  // of points_
    double set = 0, half_range = 0;
  };
  std::optional<Hunting> agreeing() const;
  std::optional<Hunting> going_on(double least_share, PeriodRange periods) const;
  std::vector<Entry> entries_;
  std::vector<Point> points_;
  std::vector<Stretch> stretches_;
};

}  // namespace tramlog
