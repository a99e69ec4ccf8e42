#include <catch2/catch.hpp>

#include "implement/layout.hpp"
#include "unit/implement/section_bench.hpp"

using namespace tramlog;

namespace {
constexpr std::uint16_t kBoom = SectionBench::kBoom, kFirst = SectionBench::kFirst;
constexpr const char* kCodes[] = {"geometry.width", "geometry.order", "geometry.overlap", "geometry.missing"};
}  // namespace

TEST_CASE("a layout goes by sideways offsets, else by element numbers", "[layout]") {
  SectionBench bench(watches::geometry);
  bench.describe(6, 1000);
  bench.property(kFirst, 135).value = 9000;  // the first element stands rightmost
  Layout layout = layout_of(bench.device());
  REQUIRE(layout.booms.size() == 1);
  const BoomPlace& boom = layout.booms[0];
  CHECK(boom.element == kBoom);
  CHECK(boom.condensed);
  CHECK(boom.by_offsets);
  REQUIRE(boom.sections.size() == 6);
  CHECK(boom.sections[0].element == kFirst + 1);
  CHECK(boom.sections[5].element == kFirst);
  CHECK(boom.sections[5].number == 6);
  CHECK(boom.sections[0].y_mm == -1500);
  CHECK(boom.sections[0].x_mm == -1200);
  CHECK(boom.sections[0].width->mm == 1000);
  CHECK(boom.sections[0].width->ddi == 67);
  CHECK(boom.width->mm == 6000);
  CHECK(boom.width->ddi == 70);
  CHECK(boom.sections[0].outer);
  CHECK_FALSE(boom.sections[1].outer);
  bench.property(kFirst + 3, 135).ddi = 136;
  bench.described();
  layout = layout_of(bench.device());
  CHECK_FALSE(layout.booms[0].by_offsets);
  CHECK(layout.booms[0].sections[0].element == kFirst);
}

TEST_CASE("sections below a boom without condensed states belong to the nearest one that has them",
          "[layout]") {
  SectionBench bench(watches::geometry);
  bench.add_element(1, ElementType::device, "drill", 0, 0);
  bench.add_element(2, ElementType::function, "boom", 1, 1);
  bench.add_element(3, ElementType::function, "left wing", 2, 2);
  bench.add_element(4, ElementType::section, "", 3, 3);
  bench.add_element(5, ElementType::section, "", 4, 99);  // its parent does not exist
  bench.add_element(6, ElementType::section, "", 5, 6);   // its own parent
  bench.described();
  CHECK(boom_of(bench.device(), 3) == 2);
  CHECK_FALSE(boom_of(bench.device(), 4).has_value());
  CHECK_FALSE(boom_of(bench.device(), 5).has_value());
  bench.add_variable(2, 161);
  bench.described();
  CHECK(boom_of(bench.device(), 3) == 1);
  const Layout layout = layout_of(bench.device());
  REQUIRE(layout.booms.size() == 1);
  CHECK(layout.booms[0].sections.size() == 1);
}

TEST_CASE("values told stand in for constants", "[layout]") {
  SectionBench bench(watches::geometry);
  bench.describe(2, 1000);
  bench.property(kFirst, 67).ddi = 66;
  bench.described();
  CHECK_FALSE(section_width(bench.device(), kFirst).has_value());
  bench.told(1, kFirst, 67, 1100);
  CHECK(section_width(bench.device(), kFirst)->mm == 1100);
}

TEST_CASE("a sound geometry passes", "[geometry]") {
  SectionBench bench(watches::geometry);
  bench.describe(7, 1286);  // 9 m by 7 does not come out even
  bench.property(kBoom, 70).value = 9000;
  const ImplementRecord record = bench.conclude(60);
  for (const char* code : kCodes) {
    INFO(only_line(record, code).text);
    CHECK(only_line(record, code).verdict == Verdict::pass);
  }
}

TEST_CASE("without description or sections geometry is not shown", "[geometry]") {
  SectionBench unknown(watches::geometry);
  SectionBench bare(watches::geometry);
  bare.describe(0);
  for (SectionBench* bench : {&unknown, &bare}) {
    const ImplementRecord record = bench->conclude(60);
    for (const char* code : kCodes) CHECK(only_line(record, code).verdict == Verdict::not_shown);
  }
}

TEST_CASE("widths that do not make the boom's", "[geometry]") {
  SectionBench bench(watches::geometry);
  bench.describe(6, 1500);
  bench.property(kBoom, 70).value = 9150;  // 1.6 %
  CHECK(only_line(bench.conclude(60), "geometry.width").verdict == Verdict::pass);
  bench.property(kBoom, 70).value = 9500;
  const CheckLine& line = only_line(bench.conclude(60), "geometry.width");
  CHECK(line.verdict == Verdict::attention);
  CHECK(line.text.find("9.000 m") != std::string::npos);
  CHECK(line.text.find("-5.3 %") != std::string::npos);
}

TEST_CASE("overlap, gap and order", "[geometry]") {
  SectionBench bench(watches::geometry);
  bench.describe(4, 1500);
  bench.property(kFirst + 3, 135).value += 40;
  CHECK(only_line(bench.conclude(60), "geometry.overlap").verdict == Verdict::pass);
  bench.property(kFirst + 3, 135).value += 60;
  ImplementRecord record = bench.conclude(60);
  CHECK(only_line(record, "geometry.overlap").verdict == Verdict::attention);
  CHECK(only_line(record, "geometry.overlap").text.find("section 3 and 4 lie apart by 100 mm") !=
        std::string::npos);
  CHECK(only_line(record, "geometry.order").verdict == Verdict::pass);
  std::swap(bench.property(kFirst, 135).value, bench.property(kFirst + 1, 135).value);
  record = bench.conclude(60);
  CHECK(only_line(record, "geometry.order").verdict == Verdict::attention);
  CHECK(only_line(record, "geometry.order").text.find("element 11 at -2.250 m lies left of") !=
        std::string::npos);
}

TEST_CASE("what the description lacks", "[geometry]") {
  SectionBench bench(watches::geometry);
  bench.describe(4, 1500);
  bench.property(kFirst + 1, 135).ddi = 136;
  bench.property(kFirst + 2, 67).ddi = 66;
  bench.described();
  CheckLine line = only_line(bench.conclude(60), "geometry.missing");
  CHECK(line.verdict == Verdict::attention);
  CHECK(line.text.find("section 2 lacks a sideways offset (DDI 135)") != std::string::npos);
  CHECK(line.text.find("section 3 lacks a width") != std::string::npos);

  // A variable that nobody asked for is not lacking, but not known either.
  SectionBench asked(watches::geometry);
  asked.describe(4, 1500);
  asked.property(kFirst, 67).ddi = 66;
  asked.add_variable(100, 67);
  asked.described();
  CHECK(only_line(asked.conclude(60), "geometry.missing").verdict == Verdict::not_shown);
  asked.told(61, kFirst, 67, 1500);
  CHECK(only_line(asked.conclude(70), "geometry.missing").verdict == Verdict::pass);

  // A rate without its maximum is a hint.
  SectionBench rate(watches::geometry);
  rate.describe(4, 1500);
  rate.add_variable(2, 6);
  rate.described();
  line = only_line(rate.conclude(60), "geometry.missing");
  CHECK(line.verdict == Verdict::pass);
  CHECK(line.text.find("boom, element 1 (DDI 10)") != std::string::npos);
}

TEST_CASE("the width that is told against the sections that are on", "[geometry]") {
  // Sections of 1, 2, 2 and 1 m; wrong: left and right of the states swapped, or always the whole.
  const auto run = [](const std::function<std::int64_t(const std::vector<unsigned>&)>& tells) {
    SectionBench bench(watches::geometry);
    bench.describe(4, 1500);
    const std::int32_t widths[] = {1000, 2000, 2000, 1000}, places[] = {-2500, -1000, 1000, 2500};
    for (std::uint16_t i = 0; i < 4; ++i) {
      bench.property(static_cast<std::uint16_t>(kFirst + i), 67).value = widths[i];
      bench.property(static_cast<std::uint16_t>(kFirst + i), 135).value = places[i];
    }
    bench.measure(kBoom, 67);
    double t = 10;
    for (const std::vector<unsigned>& states : {std::vector<unsigned>{0, 0, 0, 0},
                                                {1, 1, 1, 1},
                                                {1, 0, 0, 0},
                                                {1, 1, 0, 0},
                                                {0, 1, 1, 0},
                                                {0, 0, 0, 0}}) {
      bench.told(t, kBoom, 161, condensed(states));
      bench.told(t + 0.2, kBoom, 67, tells(states));
      t += 10;
    }
    return only_line(bench.conclude(t), "geometry.width");
  };
  const auto sum = [](const std::vector<unsigned>& s) {
    return 1000 * s[0] + 2000 * s[1] + 2000 * s[2] + 1000 * s[3];
  };
  CHECK(run(sum).verdict == Verdict::pass);
  CHECK(run([](const std::vector<unsigned>&) { return 6000; }).verdict == Verdict::pass);
  const CheckLine wrong = run(
      [](const std::vector<unsigned>& s) { return 2000 * s[0] + 1000 * s[1] + 1000 * s[2] + 2000 * s[3]; });
  CHECK(wrong.verdict == Verdict::attention);
  CHECK(wrong.text.find("tells a working width of 2.000 m while sections of 1.000 m are on") !=
        std::string::npos);
}
