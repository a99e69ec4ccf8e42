// Delivered rates as they came over the bus: unevenly sampled, by time interval, by distance and on change.
// Tools to measure on them.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace tramlog {

struct RateSample {
  double t_s = 0;         // from a fixed moment
  double rate = 0;        // raw value
  double speed_mm_s = 0;  // of the machine at that time; NaN: not told
};
using RateTrace = std::vector<RateSample>;

/// How a device sends a value.
struct Sampling {
  double gap_s = 0;        // between two values while it has something to send; 0: not known
  bool on_change = false;  // silence says that the value is still the last one
  double resolution = 0;   // smaller changes are not told; 0: all are
};

/// The samples as a line of straight pieces from the first to `until_s`. A silence longer than 1.5 gaps is
/// the last value held until a gap before the next one: a device that sends on change would have spoken
/// earlier. After the last sample its value is held if the device sends on change, otherwise the line ends
/// there.
RateTrace drawn_line(std::span<const RateSample> samples, Sampling sampling, double until_s);

/// Time-weighted mean of the line over [from_s, to_s], its end values held beyond its ends. Not for an empty
/// line.
double mean_between(const RateTrace& line, double from_s, double to_s);
/// Value of the line at that time, its end values held.
double value_at(const RateTrace& line, double t_s);

/// Standard deviation of the noise from the differences of neighbours; robust against steps and slow changes.
/// 0 for fewer than three.
double noise_of(std::span<const RateSample> samples);
/// Half of the distance between least and greatest.
double half_range(std::span<const RateSample> samples);

/// A bounded, evenly thinned memory of numbers in the order they came.
class ThinnedNumbers {
 public:
  static constexpr std::size_t kMost = 512;
  void add(double value);
  const std::vector<double>& values() const { return values_; }
  /// The value below which this share of them lies (0 to 1); 0 if there are none.
  double quantile(double share) const;

 private:
  std::vector<double> values_;
  std::size_t stride_ = 1, passed_ = 0;
  mutable std::vector<double> sorted_;  // values_, once a quantile was asked for
  mutable bool stale_ = true;
};

}  // namespace tramlog
