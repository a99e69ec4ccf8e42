#include "base/step_series.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace tramlog {
namespace {

constexpr float kNothing = std::numeric_limits<float>::quiet_NaN();

// Rounded down, before 1970 too.
std::int64_t steps_until(TimeNs time, SpanNs step) {
  return time / step - (time % step < 0 ? 1 : 0);
}

std::int64_t half(std::int64_t steps) {
  return steps >> 1;  // rounded down
}

constexpr SpanNs kCoarsest = SpanNs{1} << 61;

}  // namespace

void StepSeries::Cell::join(const Cell& other) {
  if (other.weight <= 0) return;
  if (weight <= 0) {
    *this = other;
    return;
  }
  sum += other.sum;
  weight += other.weight;
  least = std::min(least, other.least);
  greatest = std::max(greatest, other.greatest);
}

void StepSeries::coarsen() {
  std::vector<Cell> joined;
  joined.reserve(cells_.size() / 2 + 1);
  const std::int64_t origin = half(origin_);
  for (std::size_t i = 0; i < cells_.size(); ++i) {
    const auto place = static_cast<std::size_t>(half(origin_ + static_cast<std::int64_t>(i)) - origin);
    if (place >= joined.size()) joined.resize(place + 1);
    joined[place].join(cells_[i]);
  }
  cells_ = std::move(joined);
  origin_ = origin;
  step_ *= 2;
}

void StepSeries::add(TimeNs at, double value, double weight) {
  if (!std::isfinite(value) || !(weight > 0) || !std::isfinite(weight)) return;
  const Cell cell{value * weight, static_cast<float>(weight), static_cast<float>(value),
                  static_cast<float>(value)};
  if (cells_.empty()) {
    origin_ = steps_until(at, step_);
    cells_.push_back(cell);
    first_ = last_ = at;
    return;
  }
  const auto most = static_cast<std::int64_t>(kMost);
  for (;;) {
    const std::int64_t place = steps_until(at, step_);
    const std::int64_t from = std::min(place, origin_);
    const std::int64_t to = std::max(place, origin_ + static_cast<std::int64_t>(cells_.size()) - 1);
    if (to - from < most) break;
    if (step_ >= kCoarsest) return;
    coarsen();
  }
  first_ = std::min(first_, at);
  last_ = std::max(last_, at);
  std::int64_t place = steps_until(at, step_) - origin_;
  if (place < 0) {
    cells_.insert(cells_.begin(), static_cast<std::size_t>(-place), Cell{});
    origin_ += place;
    place = 0;
  }
  if (static_cast<std::size_t>(place) >= cells_.size()) cells_.resize(static_cast<std::size_t>(place) + 1);
  cells_[static_cast<std::size_t>(place)].join(cell);
}

StepSeries::Line StepSeries::drawn(TimeNs start, SpanNs step, std::size_t count) const {
  std::vector<Cell> cells(count);
  const std::int64_t ratio = step / step_;
  const std::int64_t origin = steps_until(start, step);
  for (std::size_t i = 0; i < cells_.size() && ratio > 0; ++i) {
    const std::int64_t place = steps_until(origin_ + static_cast<std::int64_t>(i), ratio) - origin;
    if (place >= 0 && place < static_cast<std::int64_t>(count))
      cells[static_cast<std::size_t>(place)].join(cells_[i]);
  }
  Line line;
  for (const Cell& cell : cells) {
    const bool told = cell.weight > 0;
    line.mean.push_back(told ? static_cast<float>(cell.sum / static_cast<double>(cell.weight)) : kNothing);
    line.least.push_back(told ? cell.least : kNothing);
    line.greatest.push_back(told ? cell.greatest : kNothing);
  }
  return line;
}

StepGrid common_grid(TimeNs from, TimeNs to, std::span<const StepSeries* const> all) {
  StepGrid grid;
  for (const StepSeries* one : all)
    if (!one->empty()) grid.step = std::max(grid.step, one->step());
  const auto steps_of = [&] { return steps_until(to, grid.step) - steps_until(from, grid.step) + 1; };
  while (steps_of() > static_cast<std::int64_t>(StepSeries::kMost) && grid.step < kCoarsest) grid.step *= 2;
  const std::int64_t origin = steps_until(from, grid.step);
  grid.count = static_cast<std::size_t>(std::max<std::int64_t>(1, steps_of()));
  // The very first step may begin before any moment that can be told.
  if (__builtin_mul_overflow(origin, grid.step, &grid.start)) grid.start = std::numeric_limits<TimeNs>::min();
  return grid;
}

}  // namespace tramlog
