// What process data say in words: states, ranges, object pools, on bytes that were put together by hand.
#include <algorithm>
#include <catch2/catch.hpp>

#include "schema/units.hpp"
#include "unit/decode/story_bench.hpp"
#include "unit/isobus/device_pool_bench.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

constexpr Pgn kProcess = 0xCB00;

std::string told(const Data& data) {
  return test::told(Schema::built_in(), kProcess, data);
}

/// What is said about a value of element 1 behind the variable's name.
std::string value_of(unsigned ddi, std::uint32_t raw) {
  PoolWriter w;
  w.raw({0x13, 0x00}).number(ddi, 2).number(raw, 4);
  const std::string text = told(w.data());
  const std::string before = " of element 1: ";
  const std::size_t at = text.find(before);
  REQUIRE(at != std::string::npos);
  REQUIRE(text.back() == '\n');
  return text.substr(at + before.size(), text.size() - at - before.size() - 1);
}

constexpr const char* kOutside = " (outside the dictionary's range)";
std::uint32_t minus(std::int64_t value) {
  return static_cast<std::uint32_t>(-value);
}

}  // namespace

TEST_CASE("process data: states in words") {
  CHECK(value_of(157, minus(1)) == "not available");
  CHECK(value_of(157, 0) == "unknown");
  CHECK(value_of(157, 3) == "three-point hitch, mounted");
  CHECK(value_of(157, 10) == "pivot wagon");
  CHECK(value_of(157, 11) == "11");
  for (const unsigned ddi : {179u, 471u}) {
    CHECK(value_of(ddi, 0) == "unknown");
    CHECK(value_of(ddi, 2) == "sowing or planting");
    CHECK(value_of(ddi, 13) == "self-loading wagon");
    CHECK(value_of(ddi, 18) == "mulching");
    CHECK(value_of(ddi, 19) == "19");
  }
  CHECK(value_of(239, 1) == "on");
  // B5 bits 2-1 unloading, B6 bits 2-1 loading, all other bits 1.
  CHECK(told({0x13, 0x00, 0xF0, 0x00, 0xFC, 0xFD, 0xFF, 0xFF}).find(": unloading off, loading on\n") !=
        std::string::npos);
  CHECK(told({0x13, 0x00, 0xF0, 0x00, 0xFE, 0xFF, 0xFF, 0xFF})
            .find(": unloading error, loading not installed\n") != std::string::npos);
  CHECK(value_of(240, 0x00000101) == "257");
  CHECK(value_of(400, 7) == "machine measured");
  CHECK(value_of(400, 255) == "none");
  CHECK(value_of(400, 8) == "8");
  CHECK(value_of(505, 0) == "no level");
  CHECK(value_of(505, 5) == "level 1, level 3");
  CHECK(value_of(505, 8) == "bit 0x08");
  CHECK(value_of(506, 0) == "no common level");
  CHECK(value_of(506, 3) == "level 3");
}

TEST_CASE("process data: the connector's angle, or that its sensor fails") {
  CHECK(value_of(466, 45'000) == "45.000 deg");
  CHECK(value_of(466, minus(90'000)) == "-90.000 deg");
  CHECK(value_of(466, 0xFE000000) == "sensor error");
  CHECK(value_of(466, 0xFE123456) == "sensor error");
  CHECK(value_of(466, 180'001) == std::string("180.001 deg") + kOutside);
  CHECK(value_of(466, 180'000) == "180.000 deg");
}

TEST_CASE("process data: values outside the dictionary's range are flagged") {
  CHECK(value_of(67, minus(1)) == std::string("-1 mm") + kOutside);
  CHECK(value_of(67, 0x7FFFFFFF) == "2147483647 mm");
  CHECK(value_of(134, minus(2500)) == "-2500 mm");  // an offset may be negative
  CHECK(value_of(75, minus(10)) == "-10 g");        // tared
  CHECK(value_of(6, 0x80000000) == std::string("-2147483648 mg/m2 (-21474836.48 kg/ha)") + kOutside);
  CHECK(value_of(209, 100) == "100 %");
  CHECK(value_of(209, 101) == std::string("101 %") + kOutside);
  CHECK(value_of(415, 1'000'001) == std::string("1000001 ppm") + kOutside);
  CHECK(value_of(420, 1'000'000) == "1000000 ppm");
  CHECK(value_of(141, 3) == "not installed");
  CHECK(value_of(141, 4) == std::string("4") + kOutside);
  CHECK(value_of(287, 7) == std::string("7") + kOutside);
  CHECK(value_of(288, 5) == "minimum override");
  CHECK(value_of(178, 65534) == std::string("65534") + kOutside);
  // Unsigned up to 4211081215; the condensed states use all bits.
  CHECK(value_of(492, 0xFAFFFFFF).find(kOutside) == std::string::npos);
  CHECK(value_of(492, 0xFB000000).find(kOutside) != std::string::npos);
  CHECK(value_of(161, 0xFFFFFFFF) == "sections 1 to 16 not installed");
  // A threshold is no value; nobody can say what a proprietary one may be.
  CHECK(told({0x16, 0x00, 0x43, 0x00, 0xFF, 0xFF, 0xFF, 0xFF}) ==
        "wants values by minimum: Actual Working Width (DDI 67) of element 1: threshold -1 mm\n");
  CHECK(value_of(60000, minus(1)) == "raw -1");
}

TEST_CASE("process data: proprietary numbers and numbers that nobody knows") {
  const auto ask = [](unsigned ddi) {
    PoolWriter w;
    w.raw({0x32, 0x00}).number(ddi, 2).number(0xFFFFFFFF, 4);
    return told(w.data());
  };
  CHECK(ask(57344) == "asks for the value: DDI 57344, proprietary to the manufacturer, of element 3\n");
  CHECK(ask(60000) == "asks for the value: DDI 60000, proprietary to the manufacturer, of element 3\n");
  CHECK(ask(65534) == "asks for the value: DDI 65534, proprietary to the manufacturer, of element 3\n");
  CHECK(ask(30000) == "asks for the value: DDI 30000, not in the dictionary, of element 3\n");
  CHECK(ask(57343).find("DDI 57343) of element 3") != std::string::npos);
  CHECK(ask(65535).find("proprietary") == std::string::npos);
  CHECK(value_of(57344, 42) == "raw 42");
  // A user's own dictionary knows better.
  Schema own;
  own.add(parse_dictionary("ddi,name,unit,resolution\n57344,Fan load,%,0.5\n", "own.csv"));
  CHECK(test::told(own, kProcess, {0x13, 0x00, 0x00, 0xE0, 0xFF, 0xFF, 0xFF, 0xFF}) ==
        "value: Fan load (DDI 57344) of element 1: -0.5 %\n");
}

TEST_CASE("process data: a difference of temperatures is not counted from absolute zero") {
  const DictionaryEntry* entry = Schema::built_in().dictionary().find(224);
  REQUIRE(entry != nullptr);
  const auto conversion = conversion_of(entry->unit, UnitChoice::all(UnitSystem::us));
  REQUIRE(conversion);
  // 10 K of difference are 18 degF of difference.
  const Number shown = convert(Dictionary::value(*entry, 10'000), *conversion, 1);
  CHECK(shown.to_double() == Approx(18.0));
  CHECK(value_of(224, 1500) == "1500 mK difference");
  CHECK_FALSE(conversion_of(entry->unit, UnitChoice::all(UnitSystem::metric)));
}

TEST_CASE("process data: an object pool says what it holds and what is wrong") {
  const auto transfer = [](const PoolWriter& w) {
    Data data{0x61};
    data.insert(data.end(), w.data().begin(), w.data().end());
    return told(data);
  };
  PoolWriter good;
  good.device("Drill 9 m").element(1, 1, 0, 0).element(2, 3, 1, 1, {3, 4}, "Seed");
  good.variable(3, 6, 2, 9).property(4, 134, -1000).presentation(5, 0, 0.01f, 1, "kg/ha");
  CHECK(
      transfer(good) ==
      "object pool transfer: 125 bytes with 1 device, 2 elements, 1 variable, 1 property and 1 presentation: "
      "\"Drill 9 m\"\n");
  PoolWriter part;  // what it refers to may come with the next transfer
  part.element(2, 3, 1, 1, {3, 4});
  CHECK(transfer(part) == "object pool transfer: 17 bytes with 1 element\n");
  PoolWriter bad = good;
  bad.variable(6, 160, 0, 8).letters("DP");
  CHECK(transfer(bad) ==
        "object pool transfer: 139 bytes with 1 device, 2 elements, 2 variables, 1 property and 1 "
        "presentation: "
        "\"Drill 9 m\"\n"
        "object pool problem: byte 137: no object begins here (bytes 44 50); 2 bytes skipped\n"
        "object pool problem: byte 125, object 6: DDI 160 (section control state) is not settable, so a task "
        "controller cannot switch it on\n");
  PoolWriter worse = good;
  for (unsigned i = 0; i < 8; ++i) worse.presentation(20 + i, 0, 0, 0, "m");
  const std::string text = transfer(worse);
  CHECK(std::count(text.begin(), text.end(), '\n') == 7);
  CHECK(text.find("\nobject pool problem: and 3 more\n") != std::string::npos);
  CHECK(told({0x61}) == "object pool transfer: 0 bytes with no objects\n");
}
