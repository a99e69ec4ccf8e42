#include "implement/totals_count.hpp"

#include <catch2/catch.hpp>

using namespace tramlog;

namespace {

constexpr double kFrozen = 20;
Mark at(double t_s) {
  return {static_cast<TimeNs>(t_s * 1e9), static_cast<std::uint64_t>(t_s * 100)};
}
/// After `t_s` seconds of work at one count a second.
Delivered work(double t_s) {
  return {t_s, 0, t_s};
}

struct Bench {
  TotalCounter counter;
  void report(double t_s, std::int64_t raw) { counter.report(raw, at(t_s), work(t_s), 1, kFrozen); }
};

}  // namespace

TEST_CASE("growth between the first and the last report") {
  Bench bench;
  CHECK(bench.counter.stretches().empty());
  bench.report(10, 500);
  CHECK(bench.counter.stretches().empty());
  bench.report(20, 510);
  bench.report(60, 549);
  const auto all = bench.counter.stretches();
  REQUIRE(all.size() == 1);
  CHECK(all[0].first_raw == 500);
  CHECK(all[0].last_raw == 549);
  CHECK(all[0].growth() == 49);
  CHECK(all[0].delivered().amount == 50);
  CHECK(all[0].first_at.time == 10 * kSecond);
  CHECK(all[0].last_at.frame == 6000);
  CHECK(bench.counter.jump_count() == 0);
}

TEST_CASE("after the reset at the begin of a task the counter begins at 0 there") {
  Bench bench;
  bench.report(5, 800);
  bench.counter.task_edge(true, at(10), work(10));
  bench.report(10.1, 800);  // was on its way
  bench.report(20, 10);
  bench.report(30, 20);
  const auto all = bench.counter.stretches();
  REQUIRE(all.size() == 1);
  CHECK(bench.counter.jump_count() == 0);
  CHECK(all[0].first_raw == 0);
  CHECK(all[0].first_at.time == 10 * kSecond);
  CHECK(all[0].last_raw == 20);
  CHECK(all[0].delivered().amount == 20);
}

TEST_CASE("one report within a task is enough if the counter was reset at its begin") {
  Bench bench;
  bench.report(5, 0);
  bench.counter.task_edge(true, at(10), work(10));
  bench.report(70, 61);
  const auto all = bench.counter.stretches();
  REQUIRE(all.size() == 1);
  CHECK(all[0].growth() == 61);
  CHECK(all[0].delivered().amount == 60);
}

TEST_CASE("a device that goes on counting at the begin of a task is measured from its own reports") {
  Bench bench;
  bench.report(5, 800);
  bench.counter.task_edge(true, at(10), work(10));
  bench.report(20, 815);
  bench.report(30, 825);
  const auto all = bench.counter.stretches();
  REQUIRE(all.size() == 1);
  CHECK(all[0].first_raw == 815);
  CHECK(all[0].growth() == 10);
}

TEST_CASE("what may set a counter is no jump") {
  SECTION("the end of a task") {
    Bench bench;
    bench.report(5, 800);
    bench.counter.task_edge(false, at(10), work(10));
    bench.report(20, 0);
    CHECK(bench.counter.jump_count() == 0);
  }
  SECTION("a value written by the task controller") {
    Bench bench;
    bench.report(5, 800);
    bench.counter.written(at(10));
    bench.report(11, 300);
    CHECK(bench.counter.jump_count() == 0);
    bench.report(12, 200);
    CHECK(bench.counter.jump_count() == 1);
  }
  SECTION("a restart, or frames that the recorder missed") {
    Bench bench;
    bench.report(5, 800);
    bench.counter.interrupted();
    bench.report(11, 300);
    CHECK(bench.counter.jump_count() == 0);
  }
  SECTION("a counter that is full") {
    Bench bench;
    bench.report(5, 2'147'483'000);
    bench.report(11, 300);
    CHECK(bench.counter.jump_count() == 0);
  }
}

TEST_CASE("a counter that goes back") {
  Bench bench;
  bench.report(5, 800);
  bench.report(15, 810);
  bench.report(25, 320);
  bench.report(35, 330);
  REQUIRE(bench.counter.jump_count() == 1);
  CHECK(bench.counter.jumps()[0].from_raw == 810);
  CHECK(bench.counter.jumps()[0].to_raw == 320);
  CHECK(bench.counter.jumps()[0].at.time == 25 * kSecond);
  const auto all = bench.counter.stretches();  // before and after
  REQUIRE(all.size() == 2);
  CHECK(all[0].growth() == 10);
  CHECK(all[1].growth() == 10);
  for (int i = 0; i < 1000; ++i) bench.report(100 + i, i % 2 == 0 ? 1000 : 10);
  CHECK(bench.counter.jumps().size() == TotalCounter::kMaxJumps);
  CHECK(bench.counter.jump_count() == 501);
  CHECK(bench.counter.stretches().size() <= TotalCounter::kMaxStretches + 1);
}

TEST_CASE("a stretch across missed frames is broken, the next one is whole") {
  Bench bench;
  bench.report(5, 800);
  bench.report(15, 810);
  bench.counter.interrupted();
  bench.report(25, 820);
  bench.report(95, 890);
  const auto all = bench.counter.stretches();
  REQUIRE(all.size() == 2);
  CHECK(all[0].broken);
  CHECK_FALSE(all[1].broken);
  CHECK(all[1].growth() == 70);
}

TEST_CASE("a counter that stands still while it should count") {
  Bench bench;
  bench.report(0, 5);
  bench.report(10, 15);
  CHECK_FALSE(bench.counter.frozen());
  bench.report(20, 15);
  bench.report(29, 15);
  CHECK_FALSE(bench.counter.frozen());  // 19 s
  bench.report(45, 15);
  bench.report(50, 20);
  bench.report(60, 30);
  REQUIRE(bench.counter.frozen());
  CHECK(bench.counter.frozen()->first_at.time == 10 * kSecond);
  CHECK(bench.counter.frozen()->last_at.time == 45 * kSecond);
  CHECK(bench.counter.frozen()->delivered().active_s == 35);
}

TEST_CASE("a coarse counter may stand, and one of a machine that stands") {
  TotalCounter coarse;  // 30 s of work a count
  for (int t = 0; t <= 60; t += 10) coarse.report(7, at(t), work(t), 30, kFrozen);
  CHECK_FALSE(coarse.frozen());
  TotalCounter standing;
  for (int t = 0; t <= 60; t += 10) standing.report(7, at(t), {3, 0, 3}, 1, kFrozen);
  CHECK_FALSE(standing.frozen());
}
