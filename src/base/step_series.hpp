// A number over a whole recording, however long: mean, least and greatest in equal steps of time. The step
// doubles as time goes on, so that memory stays bounded.
#pragma once

#include <array>
#include <cstddef>
#include <span>
#include <vector>

#include "base/time.hpp"

namespace tramlog {

class StepSeries {
 public:
  static constexpr std::size_t kMost = 480;   // steps
  static constexpr SpanNs kFinest = kSecond;  // of a short recording

  /// A value at this moment; `weight` counts for the mean (of a value that lasted: its seconds). Not a
  /// number, or no weight: ignored.
  void add(TimeNs at, double value, double weight = 1);

  bool empty() const { return cells_.empty(); }
  /// Of the steps so far; they begin at whole multiples of it.
  SpanNs step() const { return step_; }
  /// First and latest moment with a value; not for an empty one.
  TimeNs first() const { return first_; }
  TimeNs last() const { return last_; }

  struct Line {
    std::vector<float> mean, least, greatest;  // NaN: no value
  };
  /// The same in `count` steps of `step`, the first of which begins at `start`: a multiple of `step`, and
  /// `step` one of this series' or a power of two of it longer. What lies outside is left out.
  Line drawn(TimeNs start, SpanNs step, std::size_t count) const;

 private:
  struct Cell {
    double sum = 0;
    float weight = 0, least = 0, greatest = 0;
    void join(const Cell& other);
  };
  void coarsen();

  std::vector<Cell> cells_;
  std::int64_t origin_ = 0;  // of cells_[0], in steps since 1970
  SpanNs step_ = kFinest;
  TimeNs first_ = 0, last_ = 0;
};

/// Steps in which several series can be drawn side by side, from `from` to `to`.
struct StepGrid {
  TimeNs start = 0;
  SpanNs step = StepSeries::kFinest;
  std::size_t count = 0;
};
StepGrid common_grid(TimeNs from, TimeNs to, std::span<const StepSeries* const> all);

}  // namespace tramlog
