#include "base/step_series.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <map>
#include <random>

using namespace tramlog;

namespace {

struct Told {
  double sum = 0, weight = 0, least = INFINITY, greatest = -INFINITY;
};

/// The same from all values at once, by hand.
std::map<std::int64_t, Told> by_steps(const std::vector<std::pair<TimeNs, double>>& values, SpanNs step) {
  std::map<std::int64_t, Told> cells;
  for (const auto& [time, value] : values) {
    const auto place = static_cast<std::int64_t>(
        std::floor(static_cast<long double>(time) / static_cast<long double>(step)));
    Told& cell = cells[place];
    cell.sum += value;
    cell.weight += 1;
    cell.least = std::min(cell.least, value);
    cell.greatest = std::max(cell.greatest, value);
  }
  return cells;
}

}  // namespace

TEST_CASE("A short recording keeps its seconds", "[step-series]") {
  StepSeries series;
  series.add(100 * kSecond, 4);
  series.add(100 * kSecond + 900 * kMillisecond, 6, 3);
  series.add(102 * kSecond, -1);
  CHECK(series.step() == kSecond);
  const StepSeries* const all[] = {&series};
  const StepGrid grid = common_grid(99 * kSecond, 103 * kSecond, all);
  REQUIRE(grid.step == kSecond);
  REQUIRE(grid.count == 5);
  const StepSeries::Line line = series.drawn(grid.start, grid.step, grid.count);
  CHECK(std::isnan(line.mean[0]));
  CHECK(line.mean[1] == 5.5F);  // (4 + 3 * 6) / 4
  CHECK(line.least[1] == 4);
  CHECK(line.greatest[1] == 6);
  CHECK(std::isnan(line.mean[2]));
  CHECK(line.mean[3] == -1);
  CHECK(std::isnan(line.greatest[4]));
}

TEST_CASE("However long, whatever the order: at most 480 steps, and no value lost", "[step-series]") {
  std::mt19937_64 dice(7);
  for (int round = 0; round < 200; ++round) {
    const TimeNs base = static_cast<TimeNs>(dice() % 4'000'000'000) * kSecond - 2'000'000'000 * kSecond;
    const SpanNs length = kSecond << dice() % 30;
    StepSeries series;
    std::vector<std::pair<TimeNs, double>> values;
    for (int i = 0; i < 300; ++i) {
      const TimeNs time = base + static_cast<SpanNs>(dice() % static_cast<std::uint64_t>(length));
      const double value = static_cast<double>(dice() % 1000) / 8;
      values.emplace_back(time, value);
      series.add(time, value);
    }
    const StepSeries* const all[] = {&series};
    const StepGrid grid = common_grid(base, base + length, all);
    REQUIRE(grid.count <= StepSeries::kMost);
    REQUIRE(grid.start <= base);
    const StepSeries::Line line = series.drawn(grid.start, grid.step, grid.count);
    const auto expected = by_steps(values, grid.step);
    std::size_t told = 0;
    for (std::size_t i = 0; i < grid.count; ++i) {
      const auto found =
          expected.find(grid.start / grid.step + static_cast<std::int64_t>(i) - (grid.start % grid.step < 0));
      REQUIRE(std::isnan(line.mean[i]) == (found == expected.end()));
      if (found == expected.end()) continue;
      ++told;
      CHECK(std::abs(line.mean[i] - found->second.sum / found->second.weight) < 1e-3);
      CHECK(line.least[i] == static_cast<float>(found->second.least));
      CHECK(line.greatest[i] == static_cast<float>(found->second.greatest));
    }
    REQUIRE(told == expected.size());
  }
}

TEST_CASE("Times from one end of the calendar to the other", "[step-series]") {
  StepSeries series;
  series.add(INT64_MIN, 1);
  series.add(INT64_MAX, 2);
  series.add(0, 3);
  series.add(1, std::nan(""));
  series.add(1, 5, 0);
  CHECK(series.first() == INT64_MIN);
  CHECK(series.last() == INT64_MAX);
  const StepSeries* const all[] = {&series};
  const StepGrid grid = common_grid(INT64_MIN, INT64_MAX, all);
  CHECK(grid.count <= StepSeries::kMost);
  const StepSeries::Line line = series.drawn(grid.start, grid.step, grid.count);
  CHECK(line.mean.front() == 1);
  CHECK(line.mean.back() == 2);
}
