#include <catch2/catch.hpp>

#include "unit/implement/section_bench.hpp"

using namespace tramlog;

namespace {
constexpr std::uint16_t kBoom = SectionBench::kBoom;
}

TEST_CASE("switches of the work state, and by whom", "[work-state]") {
  SectionBench bench(watches::work_state);
  bench.describe(4);
  bench.told(1, kBoom, 141, 0);
  bench.set(10, kBoom, 289, 1);
  bench.told(11, kBoom, 141, 1);
  bench.told(31, kBoom, 141, 0);  // the operator
  bench.told(40, kBoom, 141, 1);
  bench.told(45, SectionBench::kFirst, 141, 1);  // sections are another line's business
  const ImplementRecord record = bench.conclude(60);
  const CheckLine& line = only_line(record, "work-state.switches");
  CHECK(line.verdict == Verdict::pass);
  REQUIRE(line.figures.size() == 4);
  CHECK(line.figures[0].value == 2);
  CHECK(line.figures[1].value == 1);
  CHECK(line.figures[2].value == 1);
  CHECK(line.figures[3].value == Approx(20 + 20));
  REQUIRE(line.moments.size() == 3);
  CHECK(line.moments[0].at.time == SectionBench::time(11));
  CHECK(line.moments[0].text == "boom, element 1 on by the task controller");
  CHECK(line.moments[1].text == "boom, element 1 off by the machine");
  // One of three by command: the operator drives it, and may lift in spite of it.
  CHECK(only_line(record, "work-state.disagree").verdict == Verdict::pass);
}

TEST_CASE("nobody tells a work state: not shown", "[work-state]") {
  SectionBench bench(watches::work_state);
  bench.describe(4);
  ImplementRecord record = bench.conclude(60);
  CHECK(only_line(record, "work-state.switches").verdict == Verdict::not_shown);
  CHECK(only_line(record, "work-state.disagree").verdict == Verdict::not_shown);
  SectionBench alone(watches::work_state);
  alone.describe(4);
  alone.told(1, kBoom, 141, 0);
  alone.told(5, kBoom, 141, 1);
  record = alone.conclude(60);
  CHECK(only_line(record, "work-state.switches").verdict == Verdict::pass);
  CHECK(only_line(record, "work-state.disagree").verdict == Verdict::not_shown);
}

TEST_CASE("a command that is never followed is a disagreement", "[work-state]") {
  for (const double answered : {12.0, 20.0, 1000.0}) {
    SectionBench bench(watches::work_state);
    bench.describe(4);
    bench.told(1, kBoom, 141, 0);
    bench.set(10, kBoom, 289, 1);
    if (answered < 60) bench.told(answered, kBoom, 141, 1);
    const CheckLine& line = only_line(bench.conclude(60), "work-state.disagree");
    CHECK(line.verdict == (answered == 12 ? Verdict::pass : Verdict::attention));
    if (answered == 12) continue;
    CHECK(line.start == SectionBench::time(10));
    REQUIRE(line.figures.size() >= 2);
    CHECK(line.figures[1].value == Approx(answered == 20 ? 10 : 50));
  }
}

TEST_CASE("where the task controller drives the work state a deviation is a disagreement", "[work-state]") {
  SectionBench bench(watches::work_state);
  bench.describe(4);
  bench.told(1, kBoom, 141, 0);
  for (int i = 0; i < 4; ++i) {
    bench.set(10 + 20 * i, kBoom, 289, i % 2 == 0);
    bench.told(10.5 + 20 * i, kBoom, 141, i % 2 == 0);
  }
  bench.set(90, kBoom, 289, 1);
  bench.told(90.5, kBoom, 141, 1);
  bench.told(100, kBoom, 141, 0);
  bench.told(108, kBoom, 141, 1);
  const CheckLine& line = only_line(bench.conclude(130), "work-state.disagree");
  CHECK(line.verdict == Verdict::attention);
  REQUIRE(line.figures.size() >= 2);
  CHECK(line.figures[0].value == 1);
  CHECK(line.figures[1].value == Approx(8));
  CHECK(line.start == SectionBench::time(100));
}

TEST_CASE("the boom on while the device is off", "[work-state]") {
  for (const bool kept : {false, true}) {
    SectionBench bench(watches::work_state);
    bench.describe(4);
    if (kept) bench.measure(0, 141);
    bench.told(1, 0, 141, 0);
    bench.told(2, kBoom, 141, 0);
    bench.told(10, kBoom, 141, 1);
    bench.told(22, kBoom, 141, 0);
    const CheckLine& line = only_line(bench.conclude(60), "work-state.disagree");
    // A device's state that was asked for once proves nothing later.
    CHECK(line.verdict == (kept ? Verdict::attention : Verdict::not_shown));
    if (kept) CHECK(line.figures[1].value == Approx(12));
  }
}

TEST_CASE("nothing runs across deafness or a restart", "[work-state]") {
  for (const int what : {0, 1, 2}) {
    SectionBench bench(watches::work_state);
    bench.describe(4);
    bench.told(1, kBoom, 141, 0);
    bench.set(10, kBoom, 289, 1);
    if (what == 1) bench.blind(12);
    if (what == 2) bench.restart(12);
    bench.told(30, kBoom, 141, 0);
    CHECK(only_line(bench.conclude(60), "work-state.disagree").verdict ==
          (what == 0 ? Verdict::attention : Verdict::pass));
  }
}

TEST_CASE("off on the way while sections are wanted, where lifting with sections off is usual",
          "[work-state]") {
  for (const bool usual : {true, false}) {
    SectionBench bench(watches::work_state);
    bench.describe(4);
    bench.told(1, kBoom, 141, 0);
    bench.set(2, kBoom, 289, 1);
    bench.told(3, kBoom, 141, 1);
    bench.set(4, kBoom, 290, condensed({1, 1, 1, 1}));
    if (usual) bench.set(20, kBoom, 290, condensed({0, 0, 0, 0}));
    bench.told(21, kBoom, 141, 0);  // the headland
    bench.told(29, kBoom, 141, 1);
    bench.set(30, kBoom, 290, condensed({1, 1, 1, 1}));
    for (int t = 310; t < 480; t += 5) {
      if (t == 400) bench.told(40, kBoom, 141, 0);
      if (t == 475) bench.told(47.5, kBoom, 141, 1);
      bench.speed(t * 0.1, 2500);
    }
    const CheckLine line = only_line(bench.conclude(60), "work-state.disagree");
    CHECK(line.verdict == (usual ? Verdict::attention : Verdict::pass));
    if (usual) CHECK(line.start == SectionBench::time(40));
  }
}
