#include <catch2/catch.hpp>
#include <functional>

#include "unit/implement/machine_bench.hpp"
#include "unit/implement/section_bench.hpp"

namespace tramlog::watches {
extern const DeviceWatchKind blockage;
}

using namespace tramlog;

namespace {

constexpr std::uint16_t kBoom = SectionBench::kBoom, kRow = 200;  // rows from element 200 on

/// Eight rows that tell skips every second, from 10 s at work but for a turn between 60 and 75 s.
struct Rows {
  std::function<double(unsigned row, double t)> skips_pct = [](unsigned row, double) {
    return 1.0 + 0.1 * row;
  };
  std::function<void(SectionBench&, double t)> more = [](SectionBench&, double) {};
  std::uint16_t ddi = 417;
};
CheckLine line_after(const Rows& rows, double end_s = 150) {
  SectionBench bench(watches::blockage);
  bench.describe(8);
  bool on = true;
  for (int i = 0; i * 0.1 < end_s; ++i) {
    const double t = 0.05 + i * 0.1;
    bench.speed(t, 2500);
    const bool works = t >= 10 && !(t >= 60 && t < 75);
    if (works != on) bench.told(t + 0.001, kBoom, 141, works);
    on = works;
    rows.more(bench, t);
    if (i % 10 != 0) continue;
    for (unsigned row = 0; row < 8; ++row)
      bench.told(t + 0.002, static_cast<std::uint16_t>(kRow + row), rows.ddi,
                 std::llround(10'000 * (works ? rows.skips_pct(row, t) : 100)));
  }
  return only_line(bench.conclude(end_s), "blockage.signs");
}

}  // namespace

TEST_CASE("rows without many skips pass, whatever they say out of work", "[blockage]") {
  Rows rows;
  // Where a pass begins the rows have skips for 3 s.
  rows.skips_pct = [](unsigned row, double t) { return t >= 75 && t < 78 ? 40.0 : 1.0 + 0.1 * row; };
  const CheckLine line = line_after(rows);
  INFO(line.text);
  CHECK(line.verdict == Verdict::pass);
  CHECK(figure_of(line, "worst_skips_pct") == Approx(40));
  // 125 s of work: three of them at 40 %, 122 at 1.35 % on average of the rows.
  CHECK(figure_of(line, "mean_skips_pct") == Approx((3 * 40 + 122 * 1.35) / 125).margin(0.02));
  CHECK(holds(line.text, "of 8 elements"));
}

TEST_CASE("a row with lasting skips", "[blockage]") {
  Rows rows;
  rows.skips_pct = [](unsigned row, double t) {
    return row == 5 && t >= 100 && t < 120 ? (t < 110 ? 30.0 : 95.0) : 2.0;
  };
  const CheckLine line = line_after(rows);
  INFO(line.text);
  REQUIRE(line.verdict == Verdict::attention);
  CHECK(holds(line.text, "1 element with more than 10 % skips"));
  CHECK(holds(line.text, "up to 95.0 %, for 20 s at the longest"));
  CHECK(holds(line.text, "The data dictionary has no value for a blockage"));
  CHECK(to_seconds(*line.start - SectionBench::time(100)) == Approx(0.05).margin(0.06));
  REQUIRE(line.moments.size() == 1);
  CHECK(line.moments[0].text == "element 205: 30.0 % skips");
  rows.ddi = 418;  // the average alone does as well
  CHECK(line_after(rows).verdict == Verdict::attention);
}

TEST_CASE("an error state is a sign", "[blockage]") {
  Rows rows;
  rows.more = [](SectionBench& bench, double t) {
    for (const double change : {1.0, 100.0, 110.0})
      if (std::abs(t - change - 0.05) < 1e-6) {
        std::vector<unsigned> states(8, 1);
        if (change == 100) states[6] = 2;
        bench.told(t + 0.003, kBoom, 161, condensed(states));
      }
  };
  const CheckLine line = line_after(rows);
  INFO(line.text);
  REQUIRE(line.verdict == Verdict::attention);
  CHECK(holds(line.text, "boom, element 1: section 7 in error"));
  CHECK(figure_of(line, "error_longest_s") == Approx(10).margin(0.6));
  // For half a second while it starts: none.
  rows.more = [](SectionBench& bench, double t) {
    for (const double change : {1.0, 100.0, 100.5})
      if (std::abs(t - change - 0.05) < 1e-6) {
        std::vector<unsigned> states(8, 1);
        if (change == 100) states[6] = 2;
        bench.told(t + 0.003, kBoom, 161, condensed(states));
      }
  };
  CHECK(line_after(rows).verdict == Verdict::pass);
}

TEST_CASE("without seed quality nothing is shown, but what there is", "[blockage]") {
  SectionBench bench(watches::blockage);
  bench.describe(4);
  bench.told(1, kBoom, 141, 1);
  for (int t = 2; t < 40; ++t) {
    bench.speed(t, 2500);
    bench.told(t + 0.1, kRow, 427, t == 20 ? 300 : 900);
    bench.told(t + 0.2, kRow, 415, 970'000 - 1'000 * t);
  }
  const CheckLine line = only_line(bench.conclude(40), "blockage.signs");
  INFO(line.text);
  CHECK(line.verdict == Verdict::not_shown);
  CHECK(holds(line.text, "the data dictionary has no value for a blockage"));
  CHECK(figure_of(line, "worst_downforce_n") == 300);
  CHECK(figure_of(line, "mean_downforce_n") == Approx((37 * 900 + 300) / 38.0).margin(0.01));
  CHECK(figure_of(line, "worst_singulation_pct") == Approx(93.1));
  SectionBench silent(watches::blockage);
  CHECK(only_line(silent.conclude(10), "blockage.signs").verdict == Verdict::not_shown);
}

TEST_CASE("any values at any elements are bounded", "[blockage]") {
  SectionBench bench(watches::blockage);
  bench.told(1, 0, 141, 1);
  bench.speed(1, 2500);
  for (unsigned i = 0; i < 3000; ++i)
    bench.told(1, static_cast<std::uint16_t>(i), 417, i % 2 == 0 ? INT32_MIN : INT32_MAX);
  for (unsigned i = 0; i < 3000; ++i) bench.told(1, static_cast<std::uint16_t>(i), 161, INT32_MIN);
  const CheckLine line = only_line(bench.conclude(2), "blockage.signs");
  CHECK(holds(line.text, "values of further elements are not looked at"));
}
