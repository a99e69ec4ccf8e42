#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <random>

#include "implement/totals_width.hpp"
#include "unit/implement/section_bench.hpp"

namespace tramlog::watches {
extern const DeviceWatchKind totals;
}

using namespace tramlog;

namespace {

constexpr std::uint16_t kBin = 5, kBinId = 50;
constexpr std::uint16_t kMassRate = 7, kMassTotal = 352, kArea = 116;

/// A drill of 8 sections of 1.5 m with one bin: rate in mg/m2, total in g, on a grid of 5 ms.
struct DrillModel {
  double sample_s = 0.5;
  double total_every_s = 10;
  double total_factor = 1, area_factor = 1;
  double frozen_from = 1e9, back_at = 1e9;
  bool tells_speed = true, tells_rate = true, asks_interval = true;
  bool tells_sections = true, tells_width = false;
  double noise = 0;
  double end_s = 110;
  std::function<void(SectionBench&, double)> meanwhile;  // called each second

  double grams = 0, square_metres = 0;  // truth
  std::int64_t last_total = 0;

  static double speed(double t) {
    return t < 5 ? 0 : t < 8 ? (t - 5) : t < 60 ? 3 : 3 - 1.2 * std::sin((t - 60) / 8);
  }
  static unsigned open_sections(double t) {
    if (t < 9.13 || (t > 50.22 && t < 61.71) || t > 104.37) return 0;
    return t > 30.31 && t < 38.83 ? 5u : 8u;
  }
  static double rate(double t) {  // first order steps
    const auto step = [t](double from, double to, double begin, double constant) {
      return t < begin ? from : to + (from - to) * std::exp(-(t - begin) / constant);
    };
    return t < 75 ? step(18000, 25000, 20, 0.9) : step(25000, 14000, 75, 1.4);
  }

  ImplementRecord run(SectionBench& bench) {
    std::mt19937 random(7);
    std::uniform_real_distribution<double> spread(-noise, noise);
    if (asks_interval)
      bench.device().values.entry({kBin, kMassRate})->measurements[0] =
          Measurement{static_cast<std::uint32_t>(sample_s * 1000), {}, false};
    bench.told(0.2, kBin, kMassTotal, 0);
    bench.told(0.3, 0, kArea, 0);
    bench.task(1, true);
    double next_sample = 1.2, next_total = 3;
    unsigned told_open = 99;
    double frozen = -1;
    for (int i = 240; i * 0.005 < end_s; ++i) {
      const double t = i * 0.005;
      const unsigned open = open_sections(t);
      const double area = speed(t) * 1.5 * open * 0.005;
      square_metres += area;
      grams += area * rate(t) / 1000;
      if (i % 20 == 0 && tells_speed) bench.speed(t, static_cast<unsigned>(std::lround(speed(t) * 1000)));
      if (open != told_open && tells_sections) {
        std::vector<unsigned> states(8, 0);
        std::fill_n(states.begin(), open, 1u);
        bench.told(t, SectionBench::kBoom, 161, condensed(states));
        if (tells_width) bench.told(t, SectionBench::kBoom, 67, 1500 * static_cast<std::int64_t>(open));
      }
      told_open = open;
      if (t >= next_sample && tells_rate) {
        next_sample += sample_s;
        const double shown = open > 0 && speed(t) > 0 ? rate(t) * (1 + spread(random)) : 0;
        bench.told(t, kBin, kMassRate, std::llround(shown));
      }
      if (meanwhile && i % 200 == 0) meanwhile(bench, t);
      if (t >= next_total || i + 1 >= std::lround(end_s / 0.005)) {
        next_total += total_every_s;
        double total = std::floor(grams * total_factor);
        if (t >= back_at) total = std::floor(grams * total_factor / 2);
        if (t >= frozen_from) total = frozen < 0 ? (frozen = total) : frozen;
        last_total = static_cast<std::int64_t>(total);
        bench.told(t, kBin, kMassTotal, last_total);
        bench.told(t, 0, kArea, static_cast<std::int64_t>(square_metres * area_factor));
      }
    }
    return bench.conclude(end_s);
  }
};

/// The bench with the bin, and its watch.
struct TotalsBench : SectionBench {
  explicit TotalsBench(bool described_too = true) : SectionBench(watches::totals) {
    if (!described_too) return;
    add_element(kBinId, ElementType::bin, "seed bin", kBin, 2);
    describe(8);
  }
};

const CheckLine& line_of(const ImplementRecord& record, const std::string& code) {
  const auto found = std::find_if(record.lines.begin(), record.lines.end(),
                                  [&](const CheckLine& line) { return line.code == code; });
  REQUIRE(found != record.lines.end());
  return *found;
}
const TotalRecord& total_of(const ImplementRecord& record, std::uint16_t ddi) {
  const auto found = std::find_if(record.totals.begin(), record.totals.end(),
                                  [&](const TotalRecord& total) { return total.ddi == ddi; });
  REQUIRE(found != record.totals.end());
  return *found;
}
void check_no_attention(const ImplementRecord& record) {
  for (const CheckLine& line : record.lines) {
    INFO(line.code << ": " << line.text);
    CHECK(line.verdict != Verdict::attention);
    CHECK(line.topic == "totals");
  }
}

}  // namespace

TEST_CASE("totals of a healthy drill agree with rate, width and speed") {
  for (const double sample : {0.2, 0.5, 1.0})
    for (const bool asks : {true, false})
      for (const bool width : {true, false}) {
        INFO(sample << " " << asks << " " << width);
        TotalsBench bench;
        DrillModel drill;
        drill.sample_s = sample;
        drill.asks_interval = asks;
        drill.tells_width = width;
        drill.noise = 0.005;
        const ImplementRecord record = drill.run(bench);
        check_no_attention(record);
        for (const char* code : {"total.differs", "total.area", "total.frozen", "total.jumped-back"})
          CHECK(line_of(record, code).verdict == Verdict::pass);
        const TotalRecord& mass = total_of(record, kMassTotal);
        CHECK(mass.element == kBin);
        CHECK(mass.first_raw == 0);
        CHECK(mass.last_raw == drill.last_total);
        CHECK(mass.unit == "g");
        CHECK(mass.reported == static_cast<double>(drill.last_total));
        REQUIRE(mass.integrated);
        CHECK(*mass.integrated == Approx(drill.grams).epsilon(0.004));
        const TotalRecord& area = total_of(record, kArea);
        REQUIRE(area.integrated);
        CHECK(*area.integrated == Approx(drill.square_metres).epsilon(0.002));
      }
}

TEST_CASE("totals that count wrong") {
  for (const double factor : {1.05, 0.95}) {
    TotalsBench bench;
    DrillModel drill;
    drill.total_factor = factor;
    const ImplementRecord record = drill.run(bench);
    const CheckLine& line = line_of(record, "total.differs");
    CHECK(line.verdict == Verdict::attention);
    CHECK(line.element == kBin);
    CHECK_THAT(line.text, Catch::Contains(factor > 1 ? "more" : "less") && Catch::Contains("limit 3 %"));
    REQUIRE(total_of(record, kMassTotal).difference_pct);
    CHECK(*total_of(record, kMassTotal).difference_pct == Approx(100 * (factor - 1)).margin(0.4));
    CHECK(line_of(record, "total.area").verdict == Verdict::pass);
  }
  TotalsBench bench;
  DrillModel drill;
  drill.area_factor = 1.06;
  const ImplementRecord record = drill.run(bench);
  CHECK(line_of(record, "total.area").verdict == Verdict::attention);
  CHECK(line_of(record, "total.differs").verdict == Verdict::pass);
}

TEST_CASE("a total that stands still, and one that goes back") {
  TotalsBench frozen;
  DrillModel drill;
  drill.frozen_from = 62;
  const ImplementRecord stands = drill.run(frozen);
  CHECK(line_of(stands, "total.frozen").verdict == Verdict::attention);
  CHECK(line_of(stands, "total.frozen").element == kBin);
  CHECK(line_of(stands, "total.jumped-back").verdict == Verdict::pass);
  REQUIRE(line_of(stands, "total.frozen").start);
  CHECK(*line_of(stands, "total.frozen").start >= SectionBench::time(62));

  TotalsBench jumping;
  DrillModel back;
  back.back_at = 80;
  const ImplementRecord jumps = back.run(jumping);
  const CheckLine& line = line_of(jumps, "total.jumped-back");
  CHECK(line.verdict == Verdict::attention);
  REQUIRE(line.moments.size() == 1);
  CHECK(line.moments[0].at.time >= SectionBench::time(80));
  CHECK(line.moments[0].at.time < SectionBench::time(91));
}

TEST_CASE("a write by the task controller sets a total") {
  TotalsBench bench;
  DrillModel drill;
  drill.back_at = 80;
  drill.meanwhile = [](SectionBench& one, double t) {
    if (t == 80) one.set(t, kBin, kMassTotal, 5000);
  };
  CHECK(line_of(drill.run(bench), "total.jumped-back").verdict == Verdict::pass);
}

TEST_CASE("no verdict without a complete integral") {
  SECTION("frames were lost again and again") {
    TotalsBench bench;
    DrillModel drill;
    drill.meanwhile = [](SectionBench& one, double t) {
      if (std::lround(t) % 5 == 0) one.blind(t);
    };
    const ImplementRecord record = drill.run(bench);
    check_no_attention(record);
    CHECK(line_of(record, "total.differs").verdict == Verdict::not_shown);
    CHECK(line_of(record, "total.area").verdict == Verdict::not_shown);
    CHECK(line_of(record, "total.frozen").verdict == Verdict::not_shown);
  }
  SECTION("a start of the device amid the task") {
    TotalsBench bench;
    DrillModel drill;
    drill.total_every_s = 200;  // only the last report
    drill.meanwhile = [](SectionBench& one, double t) {
      if (t == 40) one.restart(t);
    };
    const ImplementRecord record = drill.run(bench);
    check_no_attention(record);
    CHECK(line_of(record, "total.differs").verdict == Verdict::not_shown);
  }
  SECTION("no speed") {
    TotalsBench bench;
    DrillModel drill;
    drill.tells_speed = false;
    drill.total_factor = 1.2;
    const ImplementRecord record = drill.run(bench);
    check_no_attention(record);
    CHECK(line_of(record, "total.differs").verdict == Verdict::not_shown);
    CHECK_THAT(line_of(record, "total.differs").text, Catch::Contains("not told for"));
    CHECK(line_of(record, "total.area").verdict == Verdict::not_shown);
    CHECK_FALSE(total_of(record, kMassTotal).integrated);
  }
  SECTION("no rate") {
    TotalsBench bench;
    DrillModel drill;
    drill.tells_rate = false;
    const ImplementRecord record = drill.run(bench);
    check_no_attention(record);
    CHECK(line_of(record, "total.differs").verdict == Verdict::not_shown);
    CHECK_THAT(line_of(record, "total.differs").text, Catch::Contains("no delivered rate"));
    CHECK(line_of(record, "total.area").verdict == Verdict::pass);
  }
  SECTION("no description, no width") {
    TotalsBench bench(false);
    DrillModel drill;
    drill.total_factor = 1.3;
    const ImplementRecord record = drill.run(bench);
    check_no_attention(record);
    CHECK(line_of(record, "total.differs").verdict == Verdict::not_shown);
    CHECK(line_of(record, "total.area").verdict == Verdict::not_shown);
  }
  SECTION("too little growth") {
    TotalsBench bench;
    DrillModel drill;
    drill.end_s = 10;  // some 240 g, but not 50 m2
    const ImplementRecord record = drill.run(bench);
    check_no_attention(record);
    CHECK(line_of(record, "total.area").verdict == Verdict::not_shown);
  }
  SECTION("nothing at all") {
    TotalsBench bench;
    const ImplementRecord record = bench.conclude(100);
    CHECK(record.totals.empty());
    CHECK(record.lines.size() == 4);
    for (const CheckLine& line : record.lines) {
      CHECK(line.verdict == Verdict::not_shown);
      CHECK_THAT(line.text, Catch::StartsWith("Not shown on this bus: "));
    }
  }
}

TEST_CASE("a rate per time needs neither width nor speed") {
  TotalsBench bench(false);
  for (int i = 0; i <= 120; ++i) {
    bench.told(i * 0.5, kBin, 42, i < 60 ? 20'000 : 50'000);  // mg/s
    if (i == 0) bench.told(0.01, kBin, kMassTotal, 100);
    if (i % 20 == 0 && i > 0)
      bench.told(i * 0.5 + 0.01, kBin, kMassTotal, 100 + (i <= 60 ? i * 10 : 600 + (i - 60) * 25));
  }
  const ImplementRecord record = bench.conclude(61);
  check_no_attention(record);
  CHECK(line_of(record, "total.differs").verdict == Verdict::pass);
  REQUIRE(total_of(record, kMassTotal).integrated);
  CHECK(*total_of(record, kMassTotal).integrated == Approx(30 * 20 + 30 * 50).epsilon(0.005));
}

TEST_CASE("a total of the boom adds up its bins") {
  SectionBench bench(watches::totals);
  for (const std::uint16_t bin : {std::uint16_t{60}, std::uint16_t{61}})
    bench.add_element(bin, ElementType::bin, "bin", bin, 2);
  bench.describe(8);
  bench.told(0, SectionBench::kBoom, kMassTotal, 0);
  for (int i = 0; i <= 60; ++i) {
    bench.told(i, 60, 42, 10'000);
    bench.told(i, 61, 42, 30'000);
    if (i == 30 || i == 60) bench.told(i, SectionBench::kBoom, kMassTotal, 40 * i);
  }
  const ImplementRecord record = bench.conclude(60);
  CHECK(line_of(record, "total.differs").verdict == Verdict::pass);
  CHECK(*total_of(record, kMassTotal).integrated == Approx(30 * 40).epsilon(0.05));
}

TEST_CASE("the working width") {
  TotalsBench bench;
  const WorkingWidth width(bench.device());
  CHECK(width.of(kBin).m == 12.0);  // declared; nobody tells a state
  CHECK(width.of(kBin).source == WorkingWidth::Source::declared);
  bench.told(1, SectionBench::kBoom, 161, condensed({1, 1, 1, 0, 0, 0, 0, 2}));
  CHECK(width.of(kBin).m == 4.5);
  CHECK(width.of(kBin).source == WorkingWidth::Source::sections);
  CHECK(width.of(0).m == 4.5);
  bench.told(2, SectionBench::kFirst, 141, 0);  // its own word counts
  CHECK(width.of(SectionBench::kBoom).m == 3.0);
  bench.told(3, SectionBench::kBoom, 67, 12000);  // asked for once
  CHECK(width.of(kBin).source == WorkingWidth::Source::sections);
  bench.measure(SectionBench::kBoom, 67);
  CHECK(width.of(kBin).m == 12.0);
  CHECK(width.of(kBin).source == WorkingWidth::Source::told);
}

TEST_CASE("any values at any time leave the sums sound") {
  std::mt19937 random(3);
  TotalsBench bench;
  const std::uint16_t ddis[] = {7, 2, 42, 634, 67, 70, 141, 161, 116, 352, 80, 117, 135, 589};
  double t = 0;
  for (int i = 0; i < 20000; ++i) {
    t += static_cast<double>(random() % 300) / 1000;
    const auto element = static_cast<std::uint16_t>(random() % 12 == 0 ? random() % 4096 : random() % 20);
    const auto raw = random() % 4 == 0 ? static_cast<std::int64_t>(static_cast<std::int32_t>(random()))
                                       : static_cast<std::int64_t>(random() % 5000);
    if (i % 7 == 0)
      bench.speed(t, random() % 65536);
    else if (i % 501 == 0)
      bench.task(t, random() % 2 == 0);
    else if (random() % 9 == 0)
      bench.set(t, element, ddis[random() % std::size(ddis)], raw);
    else
      bench.told(t, element, ddis[random() % std::size(ddis)], raw);
  }
  const ImplementRecord record = bench.conclude(t);
  CHECK(record.totals.size() <= 256);
  for (const TotalRecord& total : record.totals)
    CHECK((!total.integrated || std::isfinite(*total.integrated)));
}
