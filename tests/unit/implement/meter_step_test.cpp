// Answers in closed form: first order with dead time, sampled as devices do.
#include "implement/meter_step.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <random>

namespace tramlog {
namespace {

constexpr double kAt = 10;

std::function<double(double)> first_order(double before, double after, double dead_s, double tau_s) {
  return [=](double t) {
    const double since = t - kAt - dead_s;
    return since <= 0 ? before : after + (before - after) * std::exp(-since / tau_s);
  };
}
RateTrace sampled(const std::function<double(double)>& rate, double interval_s, double phase_s,
                  double until_s) {
  RateTrace samples;
  for (double t = kAt + phase_s; t < until_s; t += interval_s) samples.push_back({t, std::round(rate(t)), 0});
  return samples;
}
StepInput input(const RateTrace& samples, double before, double target, double gap_s, double until_s) {
  StepInput in;
  in.after = samples;
  in.at_s = kAt;
  in.until_s = until_s;
  in.before = before;
  in.target = target;
  in.set_change = target - before;
  in.sampling = {gap_s, false, 0};
  return in;
}

}  // namespace

TEST_CASE("first order with dead time, sampled at 1 s and 0.2 s, at any phase, up and down") {
  for (const double interval : {0.2, 1.0})
    for (const double phase : {0.02, 0.11, 0.19})
      for (const double target : {12000.0, 8000.0})
        for (const double dead : {0.3, 1.5}) {
          const double tau = 1.0;
          const auto rate = first_order(10000, target, dead, tau);
          const RateTrace samples = sampled(rate, interval, phase * interval / 0.2, 25);
          const StepAnswer answer = measure_step(input(samples, 10000, target, interval, 25));
          INFO(interval << " " << phase << " " << target << " " << dead);
          REQUIRE(answer.complete);
          CHECK(answer.settled.value() == Approx(target).margin(2));
          // t5 = dead + tau ln(1/0.95); t90 - t10 = tau ln 9.
          CHECK(std::abs(answer.dead_time_s.value() - (dead + 0.0513)) < interval);
          CHECK(std::abs(answer.rise_time_s.value() - 2.1972) < interval);
          CHECK(answer.overshoot_pct.value() < 0.1);
          CHECK_FALSE(answer.unsteady);
        }
}

TEST_CASE("the settled rate need not be the set rate, and an approach that is not over is carried on") {
  const auto rate = first_order(10000, 12600, 0.5, 1.0);
  CHECK(measure_step(input(sampled(rate, 0.5, 0.1, 25), 10000, 12000, 0.5, 25)).settled.value() ==
        Approx(12600).margin(2));
  // tau = 4 s seen for 15 s: 4.5 % of the change is still to come at the end.
  const auto slow = first_order(10000, 14000, 1.0, 4.0);
  const StepAnswer answer = measure_step(input(sampled(slow, 0.5, 0.1, 25), 10000, 14000, 0.5, 25));
  REQUIRE(answer.complete);
  CHECK(answer.settled.value() == Approx(14000).margin(40));
  CHECK(answer.rise_time_s.value() == Approx(4 * std::log(9.0)).margin(0.5));
}

TEST_CASE("overshoot of a second order answer") {
  // Damping 0.4: exp(-pi 0.4 / sqrt(1 - 0.16)) = 25.4 %.
  const double damping = 0.4, w = 2.0, wd = w * std::sqrt(1 - damping * damping);
  const auto rate = [&](double t) {
    const double s = t - kAt - 0.5;
    if (s <= 0) return 10000.0;
    return 12000 -
           2000 * std::exp(-damping * w * s) * (std::cos(wd * s) + damping * w / wd * std::sin(wd * s));
  };
  const StepAnswer answer = measure_step(input(sampled(rate, 0.2, 0.05, 30), 10000, 12000, 0.2, 30));
  REQUIRE(answer.complete);
  CHECK(answer.overshoot_pct.value() == Approx(25.4).margin(1.5));
}

TEST_CASE("noise before the answer is no crossing") {
  std::mt19937 random(11);
  std::normal_distribution<double> normal(0, 60);  // 3 % of the change
  const auto clean = first_order(10000, 12000, 1.2, 0.5);
  double rise_sum = 0;
  for (int round = 0; round < 50; ++round) {
    RateTrace samples = sampled(clean, 0.2, 0.1, 25);
    for (RateSample& sample : samples) sample.rate += normal(random);
    StepInput in = input(samples, 10000, 12000, 0.2, 25);
    in.ripple = 140;
    const StepAnswer answer = measure_step(in);
    REQUIRE(answer.complete);
    CHECK(answer.dead_time_s.value() == Approx(1.23).margin(0.2));
    CHECK(answer.rise_time_s.value() == Approx(1.10).margin(0.35));
    rise_sum += *answer.rise_time_s;
  }
  CHECK(rise_sum / 50 == Approx(1.10).margin(0.12));
}

TEST_CASE("on change: the dead time is silent, and so is the end") {
  const auto rate = first_order(10000, 13000, 0.8, 0.6);
  RateTrace samples;
  double sent = 10000, at = kAt - 5;
  for (double t = kAt; t < 30; t += 0.005)
    if (std::abs(rate(t) - sent) >= 100 && t - at >= 0.1)
      samples.push_back({at = t, sent = std::round(rate(t)), 0});
  StepInput in = input(samples, 10000, 13000, 0.1, 30);
  in.sampling = {0.1, true, 100};
  const StepAnswer answer = measure_step(in);
  REQUIRE(answer.complete);
  CHECK(answer.dead_time_s.value() == Approx(0.83).margin(0.1));
  CHECK(answer.rise_time_s.value() == Approx(1.32).margin(0.15));
  CHECK(answer.settled.value() == Approx(13000).margin(100));
}

TEST_CASE("no answer, a wrong direction, an interrupted and a swinging answer") {
  SECTION("stands still") {
    const RateTrace samples = sampled([](double) { return 10000.0; }, 0.5, 0.1, 25);
    const StepAnswer answer = measure_step(input(samples, 10000, 12000, 0.5, 25));
    CHECK_FALSE(answer.answered);
    CHECK_FALSE(answer.unclear);
    CHECK_FALSE(answer.dead_time_s);
    CHECK(answer.watched_s == Approx(15).margin(0.6));
  }
  SECTION("goes the other way") {
    const StepAnswer answer =
        measure_step(input(sampled(first_order(10000, 9000, 0.5, 0.5), 0.5, 0.1, 25), 10000, 12000, 0.5, 25));
    CHECK_FALSE(answer.answered);
  }
  SECTION("interrupted while it rises: the dead time is known") {
    const RateTrace samples = sampled(first_order(10000, 12000, 1.0, 1.0), 0.2, 0.1, 12.2);
    const StepAnswer answer = measure_step(input(samples, 10000, 12000, 0.2, 12.2));
    CHECK(answer.answered);
    CHECK_FALSE(answer.complete);
    CHECK(answer.dead_time_s.value() == Approx(1.05).margin(0.2));
    CHECK_FALSE(answer.rise_time_s);
  }
  SECTION("swings and does not settle") {
    const auto rate = [](double t) { return (t < kAt + 0.5 ? 10000 : 12000) + 900 * std::sin(t * 2); };
    const StepAnswer answer = measure_step(input(sampled(rate, 0.2, 0.1, 25), 10000, 12000, 0.2, 25));
    CHECK_FALSE(answer.complete);
    CHECK(answer.unsteady);
  }
  SECTION("nothing told") {
    const StepAnswer answer = measure_step(input({}, 10000, 12000, 0.5, 25));
    CHECK_FALSE(answer.answered);
    CHECK(answer.watched_s == 0);
  }
}

TEST_CASE("steps of any values are finite") {
  std::mt19937 random(5);
  for (int round = 0; round < 2000; ++round) {
    RateTrace samples;
    double t = kAt;
    const int count = static_cast<int>(random() % 60);
    for (int i = 0; i < count; ++i) {
      t += (random() % 4 == 0) ? 0 : static_cast<double>(random() % 1000) / 500;
      const double wild[] = {0, -2147483648.0, 4294967295.0, static_cast<double>(random() % 30000)};
      samples.push_back({t, wild[random() % 4], 0});
    }
    StepInput in = input(samples, static_cast<double>(random() % 3) * 2147483647.0, 1,
                         static_cast<double>(random() % 3), t + 1);
    in.set_change = random() % 2 == 0 ? 1 : -4294967295.0;
    in.sampling.on_change = random() % 2 == 0;
    const StepAnswer answer = measure_step(in);
    for (const auto& value : {answer.dead_time_s, answer.rise_time_s, answer.overshoot_pct, answer.settled})
      if (value) CHECK(std::isfinite(*value));
  }
}

}  // namespace tramlog
