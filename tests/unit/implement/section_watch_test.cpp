// What the sections watch says in situations made by hand; times are those of the frames.
#include <catch2/catch.hpp>

#include "unit/implement/section_bench.hpp"

using namespace tramlog;

namespace {

constexpr std::uint16_t kBoom = SectionBench::kBoom;

// Four sections, a task, section control on, states told, all off.
void begin(SectionBench& bench, bool describe = true) {
  if (describe) bench.describe(4);
  bench.measure(kBoom, 141);
  bench.told(0.1, kBoom, 160, 0);
  bench.told(0.2, kBoom, 141, 1);
  bench.told(0.3, kBoom, 161, condensed({0, 0, 0, 0}));
  bench.task(1, true);
  bench.set(2, kBoom, 160, 1);
  bench.told(2.1, kBoom, 160, 1);
  bench.speed(2.2, 2500);
}

}  // namespace

TEST_CASE("delays count from the frame of the command to the frame of the state", "[sections]") {
  SectionBench bench(watches::sections);
  begin(bench);
  bench.set(10, kBoom, 290, condensed({1, 1, 1, 1}));
  bench.told(10.5, kBoom, 161, condensed({0, 1, 1, 0}));
  bench.set(10.6, kBoom, 290, condensed({1, 1, 1, 1}));  // repeated: no new command
  bench.told(10.75, kBoom, 161, condensed({1, 1, 1, 1}));
  bench.set(20, kBoom, 290, condensed({0, 3, 3, 3}));  // 3: no change
  bench.told(20.25, kBoom, 161, condensed({0, 1, 1, 1}));
  const ImplementRecord record = bench.conclude(30);
  REQUIRE(record.sections.size() == 4);
  CHECK(*record.sections[0].on.median_s == Approx(0.75));
  CHECK(*record.sections[1].on.median_s == Approx(0.5));
  CHECK(record.sections[1].on.count == 1);
  CHECK(*record.sections[0].off.median_s == Approx(0.25));
  CHECK(record.sections[1].off.count == 0);
  CHECK(record.sections[0].outer);
  CHECK_FALSE(record.sections[1].outer);
  CHECK(record.sections[0].on_s == Approx(20.25 - 10.75));
  CHECK(record.sections[0].y_mm == -2250);
  CHECK(record.sections[0].width_mm == 1500);
  const CheckLine& line = only_line(record, "section.on-delay");
  CHECK(line.verdict == Verdict::pass);
  CHECK(line.text.find("Outer sections: 0.75 s, inner ones: 0.50 s") != std::string::npos);
  CHECK(only_line(record, "section.never-follows").verdict == Verdict::pass);
  CHECK(only_line(record, "section.overridden").verdict == Verdict::not_shown);
}

TEST_CASE("nothing to measure is not shown, never passed", "[sections]") {
  SectionBench silent(watches::sections);
  for (const CheckLine& line : silent.conclude(60).lines) CHECK(line.verdict == Verdict::not_shown);
  SectionBench uncommanded(watches::sections);
  begin(uncommanded);
  uncommanded.told(20, kBoom, 161, condensed({1, 1, 1, 1}));
  const ImplementRecord record = uncommanded.conclude(40);
  CHECK(only_line(record, "section.on-delay").verdict == Verdict::not_shown);
  CHECK(only_line(record, "section.never-follows").verdict == Verdict::not_shown);
  CHECK(only_line(record, "section.outside-work").verdict == Verdict::not_shown);
  CHECK(only_line(record, "section.error").verdict == Verdict::pass);
  CHECK(only_line(record, "section.flicker").verdict == Verdict::pass);
}

TEST_CASE("commands do not bind while section control is off", "[sections]") {
  SectionBench bench(watches::sections);
  begin(bench);
  bench.told(5, kBoom, 160, 0);
  bench.set(6, kBoom, 290, condensed({1, 1, 1, 1}));
  const ImplementRecord record = bench.conclude(40);
  CHECK(attentions(record) == "");
  const CheckLine& line = only_line(record, "section.never-follows");
  CHECK(line.verdict == Verdict::not_shown);
  CHECK(line.text.find("DDI 160") != std::string::npos);
}

TEST_CASE("a command between the wish for section control and its confirmation binds", "[sections]") {
  SectionBench bench(watches::sections);
  bench.describe(4);
  bench.told(0.1, kBoom, 160, 0);
  bench.told(0.3, kBoom, 161, condensed({0, 0, 0, 0}));
  bench.task(1, true);
  bench.set(2, kBoom, 160, 1);
  bench.set(2.02, kBoom, 290, condensed({1, 1, 0, 0}));
  bench.told(2.2, kBoom, 160, 1);
  bench.told(2.6, kBoom, 161, condensed({1, 0, 0, 0}));
  const ImplementRecord record = bench.conclude(20);
  const CheckLine& line = only_line(record, "section.never-follows");
  CHECK(line.verdict == Verdict::attention);
  CHECK(line.section == 2u);
  CHECK(record.sections[1].never_on == 1);
  CHECK(record.sections[0].on.count == 0);  // when it counts from is not known
}

TEST_CASE("a command that stands open at a disturbance is no verdict", "[sections]") {
  const auto run = [](const std::function<void(SectionBench&)>& disturb) {
    SectionBench bench(watches::sections);
    begin(bench);
    bench.set(10, kBoom, 290, condensed({1, 1, 1, 1}));
    disturb(bench);
    return bench.conclude(60);
  };
  CHECK(run([](SectionBench&) {}).sections[0].never_on == 1);
  CHECK(run([](SectionBench& b) { b.told(12, kBoom, 141, 0); }).sections[0].never_on == 0);
  CHECK(run([](SectionBench& b) { b.told(12, kBoom, 160, 0); }).sections[0].never_on == 0);
  CHECK(run([](SectionBench& b) { b.task(12, false); }).sections[0].never_on == 0);
  CHECK(run([](SectionBench& b) { b.restart(12); }).sections[0].never_on == 0);
  CHECK(run([](SectionBench& b) { b.blind(12); }).sections[0].never_on == 0);
  CHECK(run([](SectionBench& b) {
          b.speed(12, 0);
          b.speed(13, 0);
        })
            .sections[0]
            .never_on == 0);
  CHECK(run([](SectionBench& b) {
          b.told(12, kBoom, 367, condensed({1, 0, 0, 0}));
        })
            .sections[0]
            .never_on == 0);
  CHECK(run([](SectionBench& b) {
          b.set(12, kBoom, 290, condensed({0, 0, 0, 0}));
        })
            .sections[0]
            .never_on == 0);
}

TEST_CASE("a delay found just before the recorder says that it was deaf does not count", "[sections]") {
  for (const bool deaf : {false, true}) {
    SectionBench bench(watches::sections);
    begin(bench);
    bench.set(10, kBoom, 290, condensed({1, 1, 1, 1}));
    bench.told(13, kBoom, 161, condensed({1, 1, 1, 1}));
    if (deaf) bench.blind(13.8);
    const ImplementRecord record = bench.conclude(40);
    CHECK(record.sections[0].on.count == (deaf ? 0 : 1));
    CHECK(only_line(record, "section.on-delay").verdict == (deaf ? Verdict::not_shown : Verdict::attention));
  }
}

TEST_CASE("lowering after the command: the delay counts from there", "[sections]") {
  SectionBench bench(watches::sections);
  begin(bench);
  bench.told(8, kBoom, 141, 0);
  bench.set(10, kBoom, 290, condensed({1, 1, 1, 1}));
  bench.told(14, kBoom, 141, 1);
  bench.told(14.6, kBoom, 161, condensed({1, 1, 1, 1}));
  const ImplementRecord record = bench.conclude(40);
  CHECK(attentions(record) == "");
  CHECK(*record.sections[0].on.median_s == Approx(0.6));
}

TEST_CASE("late and stuck sections are named", "[sections]") {
  SectionBench bench(watches::sections);
  begin(bench);
  for (int i = 0; i < 5; ++i) {
    const double t = 10 + 20 * i;
    bench.set(t, kBoom, 290, condensed({1, 1, 1, 1}));
    bench.told(t + 0.5, kBoom, 161, condensed({1, 0, 1, 0}));
    bench.told(t + 3.1, kBoom, 161, condensed({1, 1, 1, 0}));
    bench.set(t + 10, kBoom, 290, condensed({0, 0, 0, 0}));
    bench.told(t + 10.4, kBoom, 161, condensed({0, 0, 0, 0}));
  }
  const ImplementRecord record = bench.conclude(120);
  const CheckLine& late = only_line(record, "section.on-delay");
  CHECK(late.verdict == Verdict::attention);
  CHECK(late.section == 2u);
  CHECK(late.element == SectionBench::kFirst + 1);
  CHECK(late.text.find("section 2 up to 3.10 s (median 3.10 s, 5 of 5 commands)") != std::string::npos);
  CHECK(late.start == SectionBench::time(10));
  const CheckLine& stuck = only_line(record, "section.never-follows");
  CHECK(stuck.verdict == Verdict::attention);
  CHECK(stuck.section == 4u);
  CHECK(record.sections[3].never_on == 5);
  CHECK(record.sections[3].never_off == 0);
  CHECK(only_line(record, "section.off-delay").verdict == Verdict::pass);
}

TEST_CASE("a section that comes on with the boom in spite of \"off\" is stuck, however short the headland",
          "[sections]") {
  for (const bool comes_back : {true, false}) {
    SectionBench bench(watches::sections);
    begin(bench);
    bench.set(10, kBoom, 290, condensed({1, 1, 1, 1}));
    bench.told(10.5, kBoom, 161, condensed({1, 1, 1, 1}));
    bench.set(30, kBoom, 290, condensed({0, 0, 0, 0}));
    bench.told(30.4, kBoom, 161, condensed({0, 0, 1, 0}));
    bench.told(31.7, kBoom, 141, 0);
    bench.told(31.75, kBoom, 161, condensed({0, 0, 0, 0}));
    bench.told(38, kBoom, 141, 1);
    if (comes_back) bench.told(38.1, kBoom, 161, condensed({0, 0, 1, 0}));
    bench.set(39, kBoom, 290, condensed({1, 1, 1, 1}));
    bench.told(39.5, kBoom, 161, condensed({1, 1, 1, 1}));
    const ImplementRecord record = bench.conclude(60);
    const CheckLine line = only_line(record, "section.never-follows");
    CHECK(line.verdict == (comes_back ? Verdict::attention : Verdict::pass));
    CHECK(record.sections[2].never_off == (comes_back ? 1 : 0));
    if (!comes_back) continue;
    CHECK(line.section == 3u);
    CHECK(line.start == SectionBench::time(30));
    CHECK(line.text.find("each until the work state went off, and came on again with it") !=
          std::string::npos);
  }
}

TEST_CASE("an uneven section needs attention though each delay is short enough", "[sections]") {
  SectionBench bench(watches::sections);
  begin(bench);
  for (int i = 0; i < 8; ++i) {
    const double t = 10 + 20 * i;
    bench.set(t, kBoom, 290, condensed({1, 1, 1, 1}));
    bench.told(t + 0.4, kBoom, 161, condensed({1, i % 2 == 0, 1, 1}));
    if (i % 2 != 0) bench.told(t + 1.5, kBoom, 161, condensed({1, 1, 1, 1}));
    bench.set(t + 10, kBoom, 290, condensed({0, 0, 0, 0}));
    bench.told(t + 10.4, kBoom, 161, condensed({0, 0, 0, 0}));
  }
  const CheckLine& line = only_line(bench.conclude(200), "section.on-delay");
  CHECK(line.verdict == Verdict::attention);
  CHECK(line.section == 2u);
  CHECK(line.text.find("from 0.40 s to 1.50 s") != std::string::npos);
}

TEST_CASE("flicker is switching to and fro without a command", "[sections]") {
  const auto flickers = [](int times, double every_s, bool commanded) {
    SectionBench bench(watches::sections);
    begin(bench);
    bench.set(10, kBoom, 290, condensed({1, 1, 1, 1}));
    bench.told(10.5, kBoom, 161, condensed({1, 1, 1, 1}));
    for (int i = 0; i < times; ++i) {
      const double t = 20 + every_s * i;
      if (commanded) bench.set(t - 0.3, kBoom, 290, condensed({1, 1, 0, 1}));
      bench.told(t, kBoom, 161, condensed({1, 1, 0, 1}));
      if (commanded) bench.set(t + 0.1, kBoom, 290, condensed({1, 1, 1, 1}));
      bench.told(t + 0.4, kBoom, 161, condensed({1, 1, 1, 1}));
    }
    return bench.conclude(20 + every_s * times + 20);
  };
  const ImplementRecord found = flickers(5, 2, false);
  CHECK(only_line(found, "section.flicker").verdict == Verdict::attention);
  CHECK(only_line(found, "section.flicker").section == 3u);
  CHECK(found.sections[2].flickers == 5);
  CHECK(found.sections[2].on.count == 1);
  CHECK(only_line(flickers(5, 2, true), "section.flicker").verdict == Verdict::pass);
  CHECK(only_line(flickers(2, 2, false), "section.flicker").verdict == Verdict::pass);
  CHECK(only_line(flickers(5, 70, false), "section.flicker").verdict == Verdict::pass);
}

TEST_CASE("on outside work, in error, overridden", "[sections]") {
  SectionBench bench(watches::sections);
  begin(bench);
  bench.set(10, kBoom, 290, condensed({1, 1, 1, 1}));
  bench.told(10.5, kBoom, 161, condensed({1, 1, 1, 1}));
  bench.told(15, kBoom, 161, condensed({1, 1, 2, 1}));
  bench.told(18, kBoom, 161, condensed({1, 1, 1, 1}));
  bench.told(20, kBoom, 367, condensed({0, 0, 0, 1}));
  bench.told(20.1, kBoom, 161, condensed({1, 1, 1, 0}));
  bench.told(28, kBoom, 367, condensed({0, 0, 0, 0}));
  bench.told(28.2, kBoom, 161, condensed({1, 1, 1, 1}));
  bench.told(30, kBoom, 141, 0);
  bench.told(30.4, kBoom, 161, condensed({1, 0, 0, 0}));
  bench.told(41, kBoom, 141, 1);
  bench.told(41.2, kBoom, 161, condensed({1, 1, 1, 1}));
  const ImplementRecord record = bench.conclude(50);
  const CheckLine& outside = only_line(record, "section.outside-work");
  CHECK(outside.verdict == Verdict::attention);
  CHECK(outside.section == 1u);
  CHECK(record.sections[0].outside_work_s == Approx(11));
  CHECK(record.sections[1].outside_work_s == 0);
  CHECK(outside.start == SectionBench::time(30));
  const CheckLine& error = only_line(record, "section.error");
  CHECK(error.verdict == Verdict::attention);
  CHECK(error.section == 3u);
  CHECK(record.sections[2].error_s == Approx(3));
  const CheckLine& overridden = only_line(record, "section.overridden");
  CHECK(overridden.verdict == Verdict::attention);
  CHECK(overridden.section == 4u);
  CHECK(record.sections[3].overridden_s == Approx(8));
  CHECK(only_line(record, "section.never-follows").verdict == Verdict::pass);
}

TEST_CASE("a work state of the device element that was asked for once does not count", "[sections]") {
  SectionBench bench(watches::sections);
  begin(bench);
  bench.told(3, 0, 141, 0);
  bench.set(10, kBoom, 290, condensed({1, 1, 1, 1}));
  bench.told(10.5, kBoom, 161, condensed({1, 1, 1, 1}));
  const ImplementRecord record = bench.conclude(60);
  CHECK(attentions(record) == "");
  CHECK(record.sections[0].on.count == 1);
}

TEST_CASE("without a description sections go by their numbers", "[sections]") {
  SectionBench bench(watches::sections);
  begin(bench, false);
  std::vector<unsigned> off(20, 0), on(20, 1);
  bench.told(5, kBoom, 161, condensed(off, 0));
  bench.told(5, kBoom, 162, condensed(off, 1));
  bench.set(10, kBoom, 290, condensed(on, 0));
  bench.set(10, kBoom, 291, condensed(on, 1));
  bench.told(10.4, kBoom, 161, condensed(on, 0));
  on[18] = 0;
  bench.told(10.5, kBoom, 162, condensed(on, 1));
  const ImplementRecord record = bench.conclude(40);
  REQUIRE(record.sections.size() == 20);
  CHECK_FALSE(record.sections[0].element.has_value());
  CHECK(*record.sections[15].on.median_s == Approx(0.4));
  CHECK(*record.sections[16].on.median_s == Approx(0.5));
  CHECK(only_line(record, "section.never-follows").section == 19u);
  CHECK(record.sections[4].outer);
  CHECK_FALSE(record.sections[5].outer);
}

TEST_CASE("five sections that do not follow share one line", "[sections]") {
  SectionBench bench(watches::sections);
  bench.describe(8);
  bench.told(0.3, kBoom, 161, condensed(std::vector<unsigned>(8, 0)));
  bench.task(1, true);
  bench.set(10, kBoom, 290, condensed(std::vector<unsigned>(8, 1)));
  bench.told(10.5, kBoom, 161, condensed({1, 1, 1, 0, 0, 0, 0, 0}));
  const CheckLine& line = only_line(bench.conclude(40), "section.never-follows");
  CHECK(line.verdict == Verdict::attention);
  CHECK_FALSE(line.section.has_value());
  CHECK(line.text.find("section 4, section 5, section 6, section 7 and section 8") != std::string::npos);
}

TEST_CASE("any values at any time leave the sections watch standing", "[sections]") {
  std::mt19937_64 random(7);
  for (int run = 0; run < 4; ++run) {
    SectionBench bench(run % 2 == 0 ? watches::sections : watches::geometry);
    if (run < 2) bench.describe(24);
    for (int i = 0; i < 20000; ++i) {
      static constexpr std::uint16_t kDdis[] = {141, 289, 160, 161, 162, 176, 290,
                                                305, 367, 382, 67,  134, 135};
      const std::uint16_t ddi = kDdis[random() % 13];
      const auto element = static_cast<std::uint16_t>(random() % (i % 2 == 0 ? 40 : 4096));
      const auto raw = static_cast<std::int64_t>(random() % 3 == 0 ? random() % 4 : random() & 0xFFFFFFFF);
      (random() % 2 == 0) ? bench.told(i * 0.05, element, ddi, raw) : bench.set(i * 0.05, element, ddi, raw);
      if (i % 1000 == 0) bench.task(i * 0.05, random() % 2 == 0);
    }
    const ImplementRecord record = bench.conclude(1001);
    CHECK(record.sections.size() <= 2 * 512);
    CHECK(record.lines.size() < 40);
  }
}
