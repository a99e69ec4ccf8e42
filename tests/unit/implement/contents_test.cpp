#include <catch2/catch.hpp>
#include <functional>
#include <random>

#include "unit/implement/machine_bench.hpp"
#include "unit/implement/section_bench.hpp"

namespace tramlog::watches {
extern const DeviceWatchKind contents;
}

using namespace tramlog;

namespace {

constexpr std::uint16_t kBin = 20, kBoom = SectionBench::kBoom;

struct Run {
  std::function<double(double t)> raw;  // g
  std::function<bool(double t)> works = [](double t) { return t >= 10; };
  std::uint16_t ddi = 75;
  std::optional<std::int32_t> maximum = 1'000'000;  // DDI 76
  double end_s = 300, period_s = 1;
};

CheckLine line_after(const Run& run) {
  SectionBench bench(watches::contents);
  bench.add_element(50, ElementType::bin, "seed bin", kBin, 2);
  bench.add_variable(50, run.ddi);
  if (run.maximum) bench.add_property(50, static_cast<std::uint16_t>(run.ddi + 1), *run.maximum);
  bench.describe(4);
  double next = 0;
  std::optional<bool> on;
  for (double t = 0.05; t < run.end_s; t += 0.1) {
    bench.speed(t, 2500);
    if (on != run.works(t)) bench.told(t + 0.001, kBoom, 141, run.works(t));
    on = run.works(t);
    if (t + 1e-6 < next) continue;
    next += run.period_s;
    bench.told(t + 0.002, kBin, run.ddi, std::llround(run.raw(t)));
  }
  return only_line(bench.conclude(run.end_s), "bin.low");
}

}  // namespace

TEST_CASE("a bin that goes down, stays above, and is filled", "[contents]") {
  Run run;
  run.raw = [](double t) { return t < 200 ? 800'000 - 2'000 * t : 950'000 - 2'000 * (t - 200); };
  const CheckLine line = line_after(run);
  INFO(line.text);
  CHECK(line.verdict == Verdict::pass);
  CHECK(line.subject == "seed bin, element 20");
  CHECK(holds(line.text, "filled 1 time"));
  // At 299 s: 950000 - 2000 x 99.05.
  CHECK(figure_of(line, "last_raw") == Approx(751'900).margin(250));
  CHECK(figure_of(line, "last_pct") == Approx(75.2).margin(0.1));
}

TEST_CASE("a bin that runs low is told with the moment", "[contents]") {
  Run run;
  // 5 % of a million at (600000 - 50000) / 2500 = 220 s; a shaking scale of 5 kg.
  std::mt19937 random(3);
  run.raw = [&](double t) {
    return std::max(0.0, 600'000 - 2'500 * t) + std::normal_distribution<double>(0, 5'000)(random);
  };
  CheckLine line = line_after(run);
  INFO(line.text);
  REQUIRE(line.verdict == Verdict::attention);
  CHECK(to_seconds(*line.start - SectionBench::time(220)) == Approx(0).margin(6));
  CHECK_FALSE(line.end);
  CHECK(line.moments.size() == 1);  // not one for each swing of the scale
  CHECK(holds(line.text, "until the recording's end"));
  // Empty at once, told on change only: one single value.
  run.period_s = 290;
  run.raw = [](double t) { return t < 200 ? 600'000.0 : 0.0; };
  run.period_s = 250;
  line = line_after(run);
  REQUIRE(line.verdict == Verdict::attention);
  CHECK(to_seconds(*line.start - SectionBench::time(250)) == Approx(0.1).margin(0.2));
}

TEST_CASE("low for a moment, in the yard, or not in use", "[contents]") {
  Run run;
  // A spike of the scale.
  run.raw = [](double t) { return t >= 100 && t < 103 ? 0.0 : 500'000.0; };
  CHECK(line_after(run).verdict == Verdict::pass);
  // Emptied after work, and before another crop's work.
  run.raw = [](double t) { return t < 100 ? 500'000.0 : 0.0; };
  run.works = [](double t) { return t < 90; };
  CHECK(line_after(run).verdict != Verdict::attention);
  run.works = [](double t) { return t >= 10 && (t < 90 || t > 110); };
  CHECK(line_after(run).verdict != Verdict::attention);
  // Empty all the time: a drill with three bins and two seeds.
  run.raw = [](double) { return 0.0; };
  const CheckLine unused = line_after(run);
  CHECK(unused.verdict == Verdict::not_shown);
  CHECK(holds(unused.text, "not in use, or not measured"));
  // Told once.
  run.raw = [](double) { return 500'000.0; };
  run.period_s = 1000;
  CHECK(line_after(run).verdict == Verdict::not_shown);
}

TEST_CASE("a bin that is low from the beginning and goes on down", "[contents]") {
  Run run;
  run.raw = [](double t) { return std::max(0.0, 45'000 - 150 * t); };
  const CheckLine line = line_after(run);
  CHECK(line.verdict == Verdict::attention);
}

TEST_CASE("percentages, and contents without a declared maximum", "[contents]") {
  Run run;
  run.ddi = 467;
  run.maximum.reset();
  run.raw = [](double t) { return t < 100 ? 6'000.0 : 400.0; };  // 60 %, 4 %
  CheckLine line = line_after(run);
  REQUIRE(line.verdict == Verdict::attention);
  CHECK(to_seconds(*line.start - SectionBench::time(100)) == Approx(0).margin(1.1));
  run.raw = [](double t) { return t < 100 ? 6'000.0 : 600.0; };
  CHECK(line_after(run).verdict == Verdict::pass);
  run.ddi = 72;
  run.raw = [](double t) { return t < 100 ? 2'000.0 : 90.0; };  // 4.5 % of the most seen
  line = line_after(run);
  REQUIRE(line.verdict == Verdict::attention);
  CHECK(holds(line.text, "(the highest content seen)"));
  run.raw = [](double) { return 0.0; };
  CHECK(line_after(run).verdict == Verdict::not_shown);
}

TEST_CASE("no content: not shown; too many are told", "[contents]") {
  SectionBench bench(watches::contents);
  CHECK(only_line(bench.conclude(10), "bin.low").verdict == Verdict::not_shown);
  SectionBench many(watches::contents);
  for (unsigned i = 0; i < 70; ++i)
    many.told(1, static_cast<std::uint16_t>(i), 75, INT32_MIN + static_cast<int>(i));
  const ImplementRecord record = many.conclude(10);
  REQUIRE(record.lines.size() == 64);
  CHECK(holds(record.lines.back().text, "6 values of the others are not looked at"));
}
