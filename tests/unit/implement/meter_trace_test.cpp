#include "implement/meter_trace.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

namespace tramlog {

TEST_CASE("a silence of a sender on change is the last value held until just before the next") {
  const RateTrace samples{{0, 100, 0}, {0.5, 100, 0}, {5.0, 200, 0}};
  const RateTrace line = drawn_line(samples, {0.5, true, 0}, 7.0);
  CHECK(value_at(line, 3.0) == 100);
  CHECK(value_at(line, 4.5) == 100);
  CHECK(value_at(line, 4.75) == Approx(150));
  CHECK(value_at(line, 6.5) == 200);
  // 100 over 4.5 s, 150 in the mean over 0.5 s, 200 over 2 s.
  CHECK(mean_between(line, 0, 7) == Approx((450 + 75 + 400) / 7.0));
}

TEST_CASE("between samples at their interval the line is straight, and it ends with the last one") {
  const RateTrace samples{{0, 0, 0}, {1, 10, 0}, {2, 30, 0}};
  const RateTrace line = drawn_line(samples, {1.0, false, 0}, 9.0);
  REQUIRE(line.size() == 3);
  CHECK(value_at(line, 0.5) == Approx(5));
  CHECK(mean_between(line, 0, 2) == Approx(12.5));
  CHECK(mean_between(line, 0.5, 1.5) == Approx((7.5 + 15) / 2));
  CHECK(mean_between(line, -1, 0) == 0);
  CHECK(mean_between(line, 2, 4) == 30);
  CHECK(mean_between(line, 1, 1) == 10);
  CHECK(drawn_line({}, {1.0, true, 0}, 9.0).empty());
}

TEST_CASE("noise is found under a ramp and beside a step") {
  std::mt19937 random(3);
  std::normal_distribution<double> normal(0, 5);
  RateTrace samples;
  for (int i = 0; i < 400; ++i)
    samples.push_back({i * 0.5, 20.0 * i + (i > 200 ? 5000 : 0) + normal(random), 0});
  CHECK(noise_of(samples) == Approx(5).margin(1));
  CHECK(noise_of(std::span(samples).first(2)) == 0);
  CHECK(half_range(RateTrace{{0, 3, 0}, {1, 9, 0}, {2, 5, 0}}) == 3);
  CHECK(half_range({}) == 0);
}

TEST_CASE("thinned numbers stay bounded and keep their quantiles") {
  ThinnedNumbers numbers;
  CHECK(numbers.quantile(0.5) == 0);
  for (int i = 0; i < 100'000; ++i) numbers.add(i % 1000);
  CHECK(numbers.values().size() <= ThinnedNumbers::kMost);
  CHECK(numbers.values().size() >= ThinnedNumbers::kMost / 4);
  ThinnedNumbers few;
  for (const double value : {5.0, 1.0, 3.0, 2.0, 4.0}) few.add(value);
  CHECK(few.quantile(0.5) == 3);
  CHECK(few.quantile(0) == 1);
  CHECK(few.quantile(1) == 5);
}

}  // namespace tramlog
