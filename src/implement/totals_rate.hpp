// What was delivered by the values on the bus: one rate, integrated over time, and for rates per area or
// distance over speed and working width.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

#include "base/time.hpp"

namespace tramlog {

/// What an integral has come to at a moment. All grow only.
struct Delivered {
  double amount = 0;    // mm3, mg, pieces, m2
  double gap_s = 0;     // time in which rate, width or speed was not known although it may have delivered
  double active_s = 0;  // time in which it delivered

  Delivered& operator+=(const Delivered& other);
  Delivered since(const Delivered& before) const;
};

/// Integrates rate x pace, where the pace is what the rate is related to: m2/s, m/s, or 1.
///
/// Between two samples that follow each other at their usual distance the rate went straight from one to the
/// other. After a longer silence it had stayed as it was: that is how values on change are sent.
class RateIntegral {
 public:
  /// The rate at `at`, in base units of what is delivered.
  void sample(TimeNs at, double rate, std::optional<SpanNs> asked_period);
  /// From `at` on; none: not known. `at` never goes back but by a clock step, which adds nothing.
  void set_pace(TimeNs at, std::optional<double> pace);
  Delivered at(TimeNs now) const;

 private:
  void pass(TimeNs now);
  SpanNs usual_gap() const;

  std::optional<double> rate_;
  std::optional<double> pace_ = 0;
  TimeNs sampled_ = 0, passed_ = 0;
  bool begun_ = false;
  bool stood_ = false;           // the pace was 0 when the latest sample came
  std::optional<SpanNs> asked_;  // time interval in force when the latest sample came
  Delivered done_;               // up to the latest sample
  double open_ = 0,
         open_late_ = 0;  // since the sample: integral of the pace, and of the pace x time since it
  double open_gap_s_ = 0, open_active_s_ = 0;
  std::vector<SpanNs> gaps_;  // the latest ones between samples
  std::size_t next_gap_ = 0;
  std::uint64_t gaps_seen_ = 0;
  mutable SpanNs middle_ = 0;            // their median, as it was when middle_for_ had been seen
  mutable std::uint64_t middle_for_ = 0;
};

}  // namespace tramlog
