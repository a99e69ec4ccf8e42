#include "implement/totals_rate.hpp"

#include <catch2/catch.hpp>
#include <cmath>

using namespace tramlog;

namespace {

constexpr TimeNs kStart = 1'775'542'320 * kSecond;
TimeNs at(double t_s) {
  return kStart + std::llround(t_s * 1e9);
}

/// A rate that answers a step from 100 to 160 at t = 10 s after a dead time of 0.7 s with first order.
constexpr double kDead = 0.7, kConstant = 1.3;
double answer(double t) {
  return t < 10 + kDead ? 100 : 160 - 60 * std::exp(-(t - 10 - kDead) / kConstant);
}
double answer_integral(double to) {  // from 0 on
  const double since = to - 10 - kDead;
  return 100 * (10 + kDead) + 160 * since - 60 * kConstant * (1 - std::exp(-since / kConstant));
}

}  // namespace

TEST_CASE("a sampled rate is integrated between its samples") {
  for (const double period : {0.2, 1.0}) {
    RateIntegral integral;
    integral.set_pace(at(0), 7.5);
    for (int i = 0; i * period <= 40; ++i)
      integral.sample(at(i * period), answer(i * period), std::llround(period * 1e9));
    INFO(period);
    // Trapezoids under a step: an error of at most (step x period / 8) or so.
    CHECK(integral.at(at(40)).amount == Approx(7.5 * answer_integral(40)).margin(7.5 * 60 * period / 8));
    CHECK(integral.at(at(40)).amount == Approx(7.5 * answer_integral(40)).epsilon(0.0005));
    CHECK(integral.at(at(40)).gap_s == 0);
    CHECK(integral.at(at(40)).active_s == Approx(40));
  }
}

TEST_CASE("a rate told on change stays as it was while nothing is told") {
  RateIntegral integral;
  integral.set_pace(at(0), 2.0);
  integral.sample(at(0), 100, std::nullopt);
  // A ramp from 100 to 200 within a second, in steps of 0.25 s; silence before and after.
  for (int i = 0; i <= 4; ++i) integral.sample(at(30 + 0.25 * i), 100 + 25 * i, std::nullopt);
  const double expected = 2 * (30 * 100 + 1 * 150 + 19 * 200);
  CHECK(integral.at(at(50)).amount == Approx(expected).epsilon(0.001));
  integral.sample(at(50), 0, std::nullopt);
  CHECK(integral.at(at(90)).amount == Approx(expected).epsilon(0.001));
  CHECK(integral.at(at(90)).active_s == Approx(50));
  CHECK(integral.at(at(90)).gap_s == 0);
}

TEST_CASE("the pace counts at its own times") {
  RateIntegral integral;
  integral.sample(at(0), 10, kSecond);
  double expected = 0;
  for (int i = 0; i < 300; ++i) {  // speed every 100 ms, rate every second: rate 10 + t, pace 2 + sin
    const double t = i * 0.1, pace = 2 + std::sin(t);
    integral.set_pace(at(t), pace);
    if (i % 10 == 0) integral.sample(at(t), 10 + t, kSecond);
    expected += pace * (10 + t + 0.05) * 0.1;
  }
  integral.sample(at(30), 40, kSecond);
  CHECK(integral.at(at(30)).amount == Approx(expected).epsilon(1e-6));
}

TEST_CASE("switched off and on between two samples") {
  RateIntegral integral;
  integral.set_pace(at(0), 3.0);
  for (int i = 0; i <= 10; ++i) integral.sample(at(i), 50, kSecond);
  integral.set_pace(at(10.4), 0.0);  // the boom goes off and the rate with it
  for (int i = 11; i <= 20; ++i) integral.sample(at(i), 0, kSecond);
  integral.set_pace(at(20.7), 3.0);
  for (int i = 21; i <= 30; ++i) integral.sample(at(i), 50, kSecond);
  CHECK(integral.at(at(30)).amount == Approx(3.0 * 50 * (10.4 + 9.3)));
  CHECK(integral.at(at(30)).active_s == Approx(10.4 + 9.0).margin(1.0));
  CHECK(integral.at(at(30)).gap_s == 0);
}

TEST_CASE("flow that stops while the machine works is no switch") {
  RateIntegral integral;
  integral.set_pace(at(0), 1.0);
  integral.sample(at(0), 40, kSecond);
  integral.sample(at(1), 40, kSecond);
  integral.sample(at(2), 0, kSecond);
  integral.sample(at(3), 40, kSecond);
  CHECK(integral.at(at(3)).amount == Approx(40 + 20 + 20));
}

TEST_CASE("time without rate or pace is counted, standing still is not") {
  RateIntegral integral;
  integral.set_pace(at(0), 0.0);
  integral.set_pace(at(5), 2.0);        // works, and no rate is told
  integral.sample(at(8), 30, kSecond);  // 3 s unknown
  integral.sample(at(9), 30, kSecond);
  integral.set_pace(at(9), std::nullopt);  // 2 s without speed
  integral.sample(at(10), 30, kSecond);
  integral.set_pace(at(11), 2.0);
  integral.sample(at(12), 0, kSecond);
  integral.set_pace(at(12.5), std::nullopt);  // nothing is delivered meanwhile
  CHECK(integral.at(at(20)).gap_s == Approx(5.0));
}

TEST_CASE("a time interval that is not kept leaves the rate unknown") {
  RateIntegral integral;
  integral.set_pace(at(0), 1.0);
  for (int i = 0; i <= 10; ++i) integral.sample(at(i), 20, kSecond);
  for (int i = 0; i < 200; ++i) integral.set_pace(at(10 + 0.1 * i), 1.0);
  integral.sample(at(30), 20, kSecond);
  CHECK(integral.at(at(30)).gap_s == Approx(17.0).margin(0.2));  // 3 periods are lateness
  CHECK(integral.at(at(30)).amount == Approx(600));
}

TEST_CASE("a clock that goes back counts nothing twice") {
  RateIntegral integral;
  integral.set_pace(at(0), 1.0);
  integral.sample(at(0), 10, std::nullopt);
  integral.sample(at(1), 10, std::nullopt);
  integral.sample(at(-100), 10, std::nullopt);
  integral.sample(at(-99), 10, std::nullopt);
  CHECK(integral.at(at(-99)).amount == Approx(20));
  integral.sample(INT64_MIN, 10, INT64_MAX / 2);
  integral.sample(INT64_MAX, 4e9, INT64_MAX / 2);
  CHECK(std::isfinite(integral.at(INT64_MAX).amount));
}
