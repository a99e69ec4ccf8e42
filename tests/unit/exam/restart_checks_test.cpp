// Restarts again and again, units that claim and keep silent.
#include "unit/exam/check_bench.hpp"

using namespace tramlog;

namespace {

/// The first unit is away for 1.5 s before each of these times, and claims then.
ExamBench restarts(const std::vector<double>& at, double until) {
  std::vector<std::pair<double, double>> pauses;
  for (const double t : at) pauses.emplace_back(t - 1.5, t + 0.3);
  ExamBench b = two_talkers(until, pauses);
  for (const double t : at) b.claim(t, kFirstUnit, 0x80);
  return b;
}

}  // namespace

TEST_CASE("Three restarts are a series, and its intervals are told") {
  const Conclusions regular = restarts({30, 60, 90.5, 120}, 150).conclude();
  const Fault series = only(regular, "controller.restart-series");
  CHECK(about(regular, series, {kFirstUnit}));
  CHECK(says(series, "started again 4 times"));
  CHECK(says(series, "regular intervals of 30.0 s"));
  CHECK(near(series.start, 30));
  CHECK(near(*series.end, 120));

  const Conclusions irregular = restarts({30, 42, 100}, 150).conclude();
  CHECK(says(only(irregular, "controller.restart-series"), "irregular intervals of 12.0 s to 58.0 s"));
}

TEST_CASE("Two restarts, or answers to requests, are no series") {
  CHECK(none(restarts({30, 60}, 150).conclude(), "controller.restart-series"));
  ExamBench b = two_talkers(150);
  for (const double t : {30.0, 60.0, 90.0, 120.0}) {
    b.ask(t, kPgnAddressClaimed, 0x81);
    b.claim(t + 0.02, kFirstUnit, 0x80);
  }
  CHECK(none(b.conclude(), "controller.restart-series"));
}

TEST_CASE("Units that restart together are one series") {
  const Name third = ExamBench::unit(12, 4, 128, 2);
  ExamBench b;
  double from = 0.4;
  b.claim(0.01, kFirstUnit, 0x80);
  b.claim(0.02, kSecondUnit, 0x81);
  b.claim(0.03, third, 0x82);
  for (const double t : {30.0, 50.0, 80.0, 100.0}) {
    b.talks(from, t, 0x80);
    b.talks(from, t, 0x81);
    from = t + 2.5;
    if (t < 100) {
      b.claim(t + 2, kFirstUnit, 0x80);
      b.claim(t + 2.05, kSecondUnit, 0x81);
    }
  }
  b.talks(0.4, 100, 0x82);
  const Conclusions all = b.conclude();
  const Fault series = only(all, "controller.restart-series");
  CHECK(about(all, series, {kFirstUnit, kSecondUnit}));
  CHECK(says(series, "together 3 times"));
}

TEST_CASE("Who claims and keeps silent while its equal talks is told") {
  const Name mute = ExamBench::unit(12, 4, 128, 2);
  ExamBench b = two_talkers(60);
  b.claim(1, mute, 0x82);
  const Conclusions all = b.conclude();
  const Fault fault = only(all, "controller.silent-after-claim");
  CHECK(about(all, fault, {mute}));
  CHECK(says(fault, "sent nothing else in 59.0 s"));
}

TEST_CASE("A silent unit without an equal, a late one, and one that speaks are not") {
  ExamBench b = two_talkers(60);
  SECTION("another function: nothing obliges it to talk") {
    b.claim(1, ExamBench::unit(12, 4, 133), 0x82);
  }
  SECTION("it came 20 s before the end") {
    b.claim(40, ExamBench::unit(12, 4, 128, 2), 0x82);
  }
  SECTION("it said one thing") {
    b.claim(1, ExamBench::unit(12, 4, 128, 2), 0x82);
    b.frame(5, make_id(6, 0xFF82, 0x82), {1, 2, 3});
  }
  CHECK(none(b.conclude(), "controller.silent-after-claim"));
}
