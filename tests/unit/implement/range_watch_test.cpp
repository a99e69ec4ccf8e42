#include "implement/range_watch.hpp"

#include <catch2/catch.hpp>
#include <functional>

#include "unit/implement/machine_bench.hpp"
#include "unit/implement/section_bench.hpp"

namespace tramlog::watches {
extern const DeviceWatchKind blower;
extern const DeviceWatchKind pressure;
}  // namespace tramlog::watches

using namespace tramlog;

namespace {

constexpr std::uint16_t kBlower = 30, kBoom = SectionBench::kBoom;

/// Blower at element 30: 2500 to 4000 r/min, in 0.0001 r/min.
void describe_blower(SectionBench& bench, bool declares = true) {
  bench.add_element(50, ElementType::function, "blower", kBlower, 1);
  bench.add_variable(50, 390);
  if (declares) {
    bench.add_property(50, 392, 25'000'000);
    bench.add_property(50, 393, 40'000'000);
  }
  bench.describe(4);
}

/// Works from 10 s to `end_s` but for a turn between 60 and 70 s; the value comes every `period_s`.
void play(SectionBench& bench, double end_s, std::uint16_t ddi, const std::function<double(double t)>& raw,
          double period_s = 1, std::uint16_t element = kBlower) {
  double next = 0;
  bool on = false;
  for (double t = 0.05; t < end_s; t += 0.1) {
    bench.speed(t, 2500);
    const bool works = t >= 10 && !(t >= 60 && t < 70);
    if (works != on || t < 0.1) bench.told(t + 0.001, kBoom, 141, works);
    on = works;
    if (t + 1e-6 < next) continue;
    next += period_s;
    bench.told(t + 0.002, element, ddi, std::llround(raw(t)));
  }
}

CheckLine blower_line(const std::function<double(double t)>& rpm, double end_s = 120, bool declares = true) {
  SectionBench bench(watches::blower);
  describe_blower(bench, declares);
  play(bench, end_s, 390, [&](double t) { return 10'000 * rpm(t); });
  return only_line(bench.conclude(end_s), "blower.range");
}

}  // namespace

TEST_CASE("a blower within its range passes with its numbers", "[range]") {
  // Standing still in the turn and before work is nobody's business; nor are 3 s of a hydraulic hiccup.
  const CheckLine line = blower_line([](double t) {
    if (t < 9 || (t >= 61 && t < 69)) return 0.0;
    if (t >= 90 && t < 93) return 2000.0;
    return 3200 + 50 * std::sin(t);
  });
  INFO(line.text);
  CHECK(line.verdict == Verdict::pass);
  CHECK(line.subject == "blower, element 30");
  CHECK(line.element == kBlower);
  CHECK(figure_of(line, "least_rpm") == Approx(2000));
  CHECK(figure_of(line, "greatest_rpm") == Approx(3250).margin(2));
}

TEST_CASE("a blower below and above its range", "[range]") {
  CheckLine line =
      blower_line([](double t) { return t >= 80 && t < 100 ? (t < 90 ? 2300.0 : 2100.0) : 3200.0; });
  INFO(line.text);
  REQUIRE(line.verdict == Verdict::attention);
  CHECK(figure_of(line, "below_longest_s") == Approx(20).margin(0.3));
  CHECK(to_seconds(*line.start - SectionBench::time(80)) == Approx(0.1).margin(0.15));
  CHECK(to_seconds(*line.end - SectionBench::time(100)) == Approx(0.1).margin(0.3));
  CHECK(holds(line.text, "Below the declared minimum 1 time while working"));
  CHECK(figure_of(line, "least_rpm") == Approx(2100));
  line = blower_line([](double t) { return t >= 100 ? 4100.0 : 3200.0; });
  REQUIRE(line.verdict == Verdict::attention);
  CHECK(figure_of(line, "above_longest_s") == Approx(20).margin(0.3));
  CHECK(holds(line.text, "until the recording's end"));
  CHECK_FALSE(line.end);
  // Out of work is no work: 40 s at the headland with the blower off.
  CHECK(blower_line([](double t) {
          return t < 60 ? 3200.0 : t < 72 ? 0.0 : 3200.0;
        }).verdict == Verdict::pass);
}

TEST_CASE("a blower against its set speed", "[range]") {
  const auto run = [](double rpm_after) {
    SectionBench bench(watches::blower);
    describe_blower(bench, false);
    bench.set(1, kBlower, 389, 30'000'000);
    play(bench, 80, 390, [](double) { return 3.0e7; });
    bench.set(80.01, kBlower, 389, 36'000'000);
    // 4 s until it has followed; then it stays at `rpm_after`.
    for (double t = 80.05; t < 120; t += 0.1) {
      bench.speed(t, 2500);
      bench.told(t + 0.002, kBlower, 390, t < 84 ? 30'000'000 : std::llround(10'000 * rpm_after));
    }
    return only_line(bench.conclude(120), "blower.range");
  };
  CHECK(run(3600).verdict == Verdict::pass);
  CHECK(run(3300).verdict == Verdict::pass);  // 8 % off
  const CheckLine line = run(3200);           // 11 % off
  INFO(line.text);
  REQUIRE(line.verdict == Verdict::attention);
  CHECK(holds(line.text, "Off the set value"));
  CHECK(holds(line.text, "limit 10 % for 5.00 s"));
  CHECK(figure_of(line, "off_set_longest_s") == Approx(40).margin(0.3));
}

TEST_CASE("what cannot be judged does not pass", "[range]") {
  SectionBench silent(watches::blower);
  describe_blower(silent);
  CHECK(only_line(silent.conclude(60), "blower.range").verdict == Verdict::not_shown);
  // No declared range.
  const CheckLine open = blower_line([](double) { return 3200.0; }, 120, false);
  CHECK(open.verdict == Verdict::not_shown);
  CHECK(holds(open.text,
              "declares neither minimum nor maximum (DDI 392 and 393), and no set value (DDI 389) was told"));
  // Never at work; and for 3 s only.
  CHECK(
      holds(blower_line([](double) { return 3200.0; }, 9).text, "never while the device was known to work"));
  CHECK(holds(blower_line([](double) { return 3200.0; }, 13).text, "of work only"));
  CHECK(blower_line([](double) { return 3200.0; }, 13).verdict == Verdict::not_shown);
}

TEST_CASE("a device that has gone, and a deaf recorder, prove nothing", "[range]") {
  const auto run = [](bool blind) {
    SectionBench bench(watches::blower);
    describe_blower(bench);
    play(bench, 50, 390, [](double t) { return t < 48 ? 3.2e7 : 1.0e7; });
    // Its last word was 1000 r/min at work; the tractor drives on.
    for (double t = 50.05; t < 80; t += 0.1) {
      if (blind && std::fmod(t, 3) < 0.1) bench.blind(t);
      bench.speed(t, 2500);
      if (blind) bench.told(t + 0.01, kBlower, 390, 10'000'000);
    }
    return only_line(bench.conclude(80), "blower.range");
  };
  CHECK(run(true).verdict == Verdict::pass);
  // Heard for 10 s after its last word, no longer.
  const CheckLine line = run(false);
  CHECK(figure_of(line, "below_longest_s") == Approx(11.5).margin(1));
}

TEST_CASE("pressures by quantity", "[range]") {
  SectionBench bench(watches::pressure);
  bench.add_element(50, ElementType::function, "air", kBlower, 1);
  for (const int ddi : {194, 198}) bench.add_variable(50, static_cast<std::uint16_t>(ddi));
  bench.add_property(50, 195, 30'000);  // 3 kPa
  bench.add_property(50, 196, 60'000);
  bench.add_property(50, 199, 500'000);
  bench.describe(4);
  for (double t = 0.05; t < 60; t += 0.1) {
    bench.speed(t, 2500);
    if (t < 0.1) bench.told(t + 0.001, kBoom, 141, 1);
    bench.told(t + 0.002, kBlower, 194, t >= 20 && t < 40 ? 25'000 : 45'000);
    bench.told(t + 0.003, kBlower, 198, 600'000);
    bench.told(t + 0.004, 40, 366, 70'000);  // nothing is declared for a downforce
  }
  const ImplementRecord record = bench.conclude(60);
  const auto lines = lines_of(record, "pressure.range");
  REQUIRE(lines.size() == 3);
  CHECK(lines[0]->subject == "product pressure of air, element 30");
  CHECK(lines[0]->verdict == Verdict::attention);
  CHECK(figure_of(*lines[0], "least_pa") == Approx(2500));
  CHECK(figure_of(*lines[0], "below_longest_s") == Approx(20).margin(0.3));
  CHECK(lines[1]->verdict == Verdict::pass);
  CHECK(lines[2]->verdict == Verdict::not_shown);
  CHECK(holds(lines[2]->text, "the dictionary has none for it"));
}

TEST_CASE("more elements than are kept are told", "[range]") {
  SectionBench bench(watches::blower);
  for (unsigned i = 0; i < 70; ++i) bench.told(1, static_cast<std::uint16_t>(i), 390, 1);
  const ImplementRecord record = bench.conclude(2);
  REQUIRE(record.lines.size() == 64);
  CHECK(holds(record.lines.back().text, "6 values of the others are not looked at"));
}

TEST_CASE("extreme values do not break it", "[range]") {
  SectionBench bench(watches::blower);
  describe_blower(bench);
  bench.told(1, kBoom, 141, 1);
  for (double t = 1; t < 60; t += 0.5) {
    bench.speed(t, 2500);
    bench.set(t + 0.01, kBlower, 389, INT32_MIN);
    bench.told(t + 0.02, kBlower, 390, std::fmod(t, 2) < 1 ? INT32_MIN : INT32_MAX);
    bench.told(t + 0.03, kBlower, 392, UINT32_MAX);
  }
  CHECK_FALSE(only_line(bench.conclude(60), "blower.range").text.empty());
}
