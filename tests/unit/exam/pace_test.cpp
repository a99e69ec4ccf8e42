#include "exam/pace.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

using namespace tramlog;

namespace {
Pace fed(int gaps, const std::function<double(int)>& gap_s) {
  Pace pace;
  for (int i = 0; i < gaps; ++i) pace.add(static_cast<SpanNs>(gap_s(i) * 1e9));
  pace.judge();
  return pace;
}
}  // namespace

TEST_CASE("a plain period is learned to within its jitter") {
  std::mt19937 random(3);
  for (const double period : {0.01, 0.05, 0.1, 0.5, 1.0, 5.0}) {
    const Pace pace =
        fed(200, [&](int) { return period * (0.8 + 0.4 * static_cast<double>(random() % 1000) / 1000); });
    REQUIRE(pace.has_rhythm());
    CHECK(to_seconds(pace.period()) == Approx(period).epsilon(0.12));
  }
}

TEST_CASE("messages on change have no rhythm") {
  std::mt19937 random(4);
  unsigned rhythms = 0;
  for (int run = 0; run < 100; ++run)
    rhythms += fed(300, [&](int) {
                 return 0.05 - 2 * std::log((1 + static_cast<double>(random() % 100000)) / 100001.0);
               }).has_rhythm();
  CHECK(rhythms == 0);
}

TEST_CASE("on change, and at least once a second: the second is the rhythm") {
  const Pace pace = fed(300, [](int i) { return i % 3 == 0 ? 1.0 : 0.1 + 0.01 * (i % 7); });
  REQUIRE(pace.has_rhythm());
  CHECK(to_seconds(pace.period()) == Approx(1.0).epsilon(0.1));
}

TEST_CASE("a lost frame now and then does not change the period") {
  const Pace pace = fed(500, [](int i) { return i % 60 == 59 ? 0.2 : 0.1; });
  REQUIRE(pace.has_rhythm());
  CHECK(to_seconds(pace.period()) == Approx(0.1).epsilon(0.05));
}

TEST_CASE("a pace that changes is learned anew") {
  const Pace pace = fed(6000, [](int i) { return i < 1000 ? 0.1 : 0.5; });
  REQUIRE(pace.has_rhythm());
  CHECK(to_seconds(pace.period()) == Approx(0.5).epsilon(0.1));
}

TEST_CASE("few gaps say nothing, and a pause is told") {
  CHECK(!fed(7, [](int) { return 0.1; }).has_rhythm());
  Pace pace;
  for (int i = 0; i < 50; ++i) CHECK(!pace.add(100 * kMillisecond));
  CHECK(!pace.add(900 * kMillisecond));
  CHECK(pace.add(1100 * kMillisecond));
}
