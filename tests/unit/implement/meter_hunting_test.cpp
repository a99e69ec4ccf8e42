#include "implement/meter_hunting.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

namespace tramlog {
namespace {

constexpr PeriodRange kPeriods{1, 30};

// 15000 with whatever is added, sampled unevenly about every `gap_s`.
template <class Added>
RateTrace trace(double from_s, double to_s, double gap_s, unsigned seed, Added added) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> uneven(0.5, 1.5);
  RateTrace samples;
  for (double t = from_s; t < to_s; t += gap_s * uneven(random))
    samples.push_back({t, std::round(15000 + added(t)), 2500});
  return samples;
}

}  // namespace

TEST_CASE("a sine's amplitude and period, at uneven samples and with noise") {
  for (const double period : {3.0, 5.5, 12.0})
    for (const double gap : {0.2, 0.7}) {
      std::mt19937 random(2);
      std::normal_distribution<double> normal(0, 75);
      const RateTrace samples = trace(
          0, 45, gap, 4, [&](double t) { return 900 * std::sin(2 * M_PI * t / period) + normal(random); });
      const auto found = find_oscillation(samples, 450, kPeriods);
      INFO(period << " " << gap);
      REQUIRE(found);
      CHECK(found->period_s == Approx(period).epsilon(0.02));
      CHECK(found->amplitude == Approx(900).epsilon(0.06));
      CHECK(found->mean == Approx(15000).margin(60));
      CHECK(found->cycles == Approx(45 / period).epsilon(0.05));
    }
}

TEST_CASE("a square swing is one too") {
  const RateTrace samples =
      trace(0, 60, 0.3, 4, [](double t) { return std::fmod(t, 8) < 4 ? 600.0 : -600.0; });
  const auto found = find_oscillation(samples, 450, kPeriods);
  REQUIRE(found);
  CHECK(found->period_s == Approx(8).epsilon(0.02));
  CHECK(found->amplitude == Approx(600).epsilon(0.3));
}

TEST_CASE("noise, drift, the end of a step and a swing that dies away are none") {
  std::mt19937 random(9);
  std::normal_distribution<double> normal(0, 1);
  SECTION("strong noise") {
    for (unsigned seed = 1; seed < 200; ++seed) {
      const RateTrace samples = trace(0, 30, 0.5, seed, [&](double) { return 400 * normal(random); });
      CHECK_FALSE(find_oscillation(samples, 450, kPeriods));
    }
  }
  SECTION("a walk") {
    int found = 0;
    for (unsigned seed = 1; seed < 200; ++seed) {
      double at = 0;
      const RateTrace samples =
          trace(0, 50, 0.5, seed, [&](double) { return at = 0.97 * at + 60 * normal(random); });
      if (const auto swing = find_oscillation(samples, 450, kPeriods); swing && swing->cycles >= 3) ++found;
    }
    CHECK(found == 0);
  }
  SECTION("a drift") {
    CHECK_FALSE(find_oscillation(trace(0, 40, 0.5, 1, [](double t) { return 100 * t; }), 450, kPeriods));
  }
  SECTION("the end of a step") {
    CHECK_FALSE(find_oscillation(trace(0, 40, 0.5, 1, [](double t) { return 4000 * std::exp(-t / 4); }), 450,
                                 kPeriods));
  }
  SECTION("dies away") {
    CHECK_FALSE(find_oscillation(
        trace(0, 30, 0.2, 1, [](double t) { return 3000 * std::exp(-t / 5) * std::sin(2 * t); }), 450,
        kPeriods));
  }
  SECTION("too weak, too few, too fast") {
    const auto sine = [](double period) {
      return [period](double t) { return 900 * std::sin(2 * M_PI * t / period); };
    };
    CHECK_FALSE(find_oscillation(trace(0, 40, 0.3, 1, sine(6)), 1200, kPeriods));
    CHECK_FALSE(find_oscillation(trace(0, 2, 0.3, 1, sine(6)), 450, kPeriods));
    CHECK_FALSE(find_oscillation(trace(0, 40, 0.1, 1, sine(0.5)), 450, kPeriods));
  }
}

TEST_CASE("short stretches count together if they agree") {
  HuntingJudge judge;
  judge.add({900, 6.0, 1.4, 15000}, 0.06);
  CHECK_FALSE(judge.found(0.03, kPeriods));
  judge.add({800, 14.0, 1.4, 15000}, 0.05);  // another one
  CHECK_FALSE(judge.found(0.03, kPeriods));
  judge.add({960, 6.3, 1.8, 18000}, 0.05);
  const auto found = judge.found(0.03, kPeriods);
  REQUIRE(found);
  CHECK(found->stretches == 2);
  CHECK(found->oscillation.period_s == Approx(6.19).margin(0.05));
  CHECK(found->oscillation.cycles == Approx(3.2));
  CHECK(found->share_of_set == Approx((1.4 * 0.06 + 1.8 * 0.05) / 3.2));
  CHECK_FALSE(judge.found(0.10, kPeriods));
}

TEST_CASE("one slow swing through many short stretches at different set rates") {
  HuntingJudge judge, quiet;
  for (int i = 0; i < 7; ++i) {
    const double set = 12000 + 1000 * i;
    RateTrace swinging, still;
    for (double t = 15.0 * i + 5; t < 15.0 * i + 14; t += 0.5) {
      swinging.push_back({t, set * (1.01 + 0.07 * std::sin(2 * M_PI * t / 11)), 2500});
      still.push_back({t, set * (1.01 + 0.004 * std::sin(7919 * t)), 2500});
    }
    judge.add_stretch(swinging, set);
    quiet.add_stretch(still, set);
  }
  const auto found = judge.found(0.03, kPeriods);
  REQUIRE(found);
  CHECK(found->oscillation.period_s == Approx(11).epsilon(0.02));
  CHECK(found->share_of_set == Approx(0.07).epsilon(0.03));
  CHECK(found->oscillation.amplitude == Approx(0.07 * 15000).epsilon(0.03));
  CHECK_FALSE(quiet.found(0.03, kPeriods));
}

TEST_CASE("a meter's memory of swings is bounded") {
  HuntingJudge judge;
  RateTrace many;
  for (int i = 0; i < 5000; ++i) many.push_back({i * 0.1, 15000 + 900 * std::sin(i * 0.1), 2500});
  for (int i = 0; i < 1000; ++i) {
    judge.add({900, 6, 5, 15000}, 0.06);
    judge.add_stretch(many, 15000);
  }
  CHECK(judge.found(0.03, kPeriods)->stretches == HuntingJudge::kMost);
}

}  // namespace tramlog
