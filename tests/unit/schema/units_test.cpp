#include "schema/units.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <fstream>
#include <limits>
#include <set>
#include <sstream>

#include "schema/schema.hpp"

using namespace tramlog;

namespace {

const UnitChoice kMetric;
const UnitChoice kImperial = UnitChoice::all(UnitSystem::imperial);
const UnitChoice kUs = UnitChoice::all(UnitSystem::us);

struct Shown {
  std::string_view unit;
  double value = 0;
};

Shown shown(std::string_view unit, const UnitChoice& choice, double value) {
  const auto conversion = conversion_of(unit, choice);
  if (!conversion) return {unit, value};
  return {conversion->unit, value * conversion->factor + conversion->offset};
}

void check(std::string_view unit, const UnitChoice& choice, double value, std::string_view to,
           double wanted) {
  CAPTURE(unit, value, to);
  const Shown result = shown(unit, choice, value);
  CHECK(result.unit == to);
  CHECK(result.value == Approx(wanted).epsilon(2e-6));
}

Number exact(std::uint64_t magnitude, std::uint8_t decimals, bool negative = false) {
  Number number;
  number.magnitude = magnitude;
  number.decimals = decimals;
  number.negative = negative;
  return number;
}

std::string converted(std::string_view unit, const UnitChoice& choice, const Number& number,
                      double resolution) {
  return format_number(convert(number, *conversion_of(unit, choice), resolution));
}

}  // namespace

TEST_CASE("metric shows speeds in km/h and nothing else differently") {
  check("m/s", kMetric, 2.5, "km/h", 9);
  for (const char* unit :
       {"km/h", "m", "km", "mm", "mg/m2", "mm3/m2", "degC", "mK", "kPa", "N", "L", "kg", "rpm", ""})
    CHECK_FALSE(conversion_of(unit, kMetric));
}

TEST_CASE("lengths and speeds") {
  // 1 mile = 1609.344 m, 1 foot = 0.3048 m, 1 inch = 25.4 mm.
  for (const UnitChoice& choice : {kImperial, kUs}) {
    check("m/s", choice, 44.704, "mph", 100);
    check("km/h", choice, 160.9344, "mph", 100);
    check("m", choice, 3.048, "ft", 10);
    check("km", choice, 16.09344, "mi", 10);
    check("mm", choice, 254, "in", 10);
    check("mm/s", choice, 254, "in/s", 10);
    check("1/km", choice, 1, "1/mi", 1.609344);
  }
}

TEST_CASE("areas and numbers per area") {
  // 1 acre = 43560 square feet = 4046.8564224 m2.
  for (const UnitChoice& choice : {kImperial, kUs}) {
    check("m2", choice, 40468.564224, "ac", 10);
    check("/m2", choice, 10, "/ac", 40468.564224);
    check("kWh/m2", choice, 0.001, "kWh/ac", 4.0468564224);
  }
}

TEST_CASE("imperial and US gallons differ") {
  check("L", kImperial, 45.4609, "imp gal", 10);
  check("L", kUs, 37.85411784, "gal", 10);
  check("L/h", kImperial, 4.54609, "imp gal/h", 1);
  check("L/h", kUs, 3.785411784, "gal/h", 1);
  check("ml", kImperial, 28.4130625, "imp fl oz", 1);
  check("ml", kUs, 29.5735295625, "fl oz", 1);
  // 1 L/s = 1e6 mm3/s = 60 L/min = 15.850323 gal/min.
  check("mm3/s", kUs, 1e6, "gal/min", 15.850323);
  check("mm3/s", kImperial, 1e6, "imp gal/min", 13.198155);
  check("ml/s", kUs, 1000, "gal/min", 15.850323);
  // 10 km/L = 23.5215 US mpg = 28.2481 imperial mpg.
  check("km/L", kUs, 10, "mpg", 23.521458);
  check("km/L", kImperial, 10, "imp mpg", 28.248094);
}

TEST_CASE("masses, temperatures, pressures and forces") {
  check("kg", kUs, 45.359237, "lb", 100);
  check("kg", kImperial, 45.359237, "lb", 100);
  check("g", kUs, 28.349523125, "oz", 1);
  check("kg/h", kUs, 0.45359237, "lb/h", 1);
  check("mg/s", kUs, 1e6, "lb/min", 132.277357);  // 1 kg/s = 60 kg/min
  check("degC", kUs, -40, "degF", -40);
  check("degC", kUs, 100, "degF", 212);
  check("mK", kUs, 273150, "degF", 32);
  check("kPa", kUs, 100, "psi", 14.5037738);
  check("Pa", kImperial, 6894.757293, "psi", 1);
  check("N", kUs, 4.4482216152605, "lbf", 1);
  check("N*m", kUs, 1.3558179483, "lbf*ft", 1);
}

TEST_CASE("rates per area") {
  // 18000 mg/m2 = 180 kg/ha = 160.59 lb/ac; 20000 mm3/m2 = 200 L/ha = 21.381 US gal/ac = 17.804 imperial
  // gal/ac.
  check("mg/m2", kUs, 18000, "lb/ac", 160.592124);
  check("mg/m2", kImperial, 18000, "lb/ac", 160.592124);
  check("mm3/m2", kUs, 20000, "gal/ac", 21.381308);
  check("mm3/m2", kImperial, 20000, "imp gal/ac", 17.803676);
  check("ml/m2", kUs, 20, "gal/ac", 21.381308);
  check("ml/m", kUs, 1, "fl oz/ft", 0.01030651);  // 0.3048 ml in a foot
  check("mm3/kg", kUs, 1000, "fl oz/short ton", 30.675561);
  // Someone who thinks in acres and kilograms, or in hectares and gallons.
  UnitChoice mixed;
  mixed.area = UnitSystem::imperial;
  check("mg/m2", mixed, 18000, "kg/ac", 72.8434156);
  check("mm3/m2", mixed, 20000, "L/ac", 80.937128);
  mixed = {};
  mixed.mass = UnitSystem::us;
  mixed.volume = UnitSystem::us;
  check("mg/m2", mixed, 18000, "lb/ha", 396.832072);
  check("mm3/m2", mixed, 20000, "gal/ha", 52.834410);
  mixed = {};
  mixed.distance = UnitSystem::us;
  CHECK_FALSE(conversion_of("km/L", mixed));
}

TEST_CASE("each quantity follows its own choice") {
  UnitChoice choice = kUs;
  choice.temperature = UnitSystem::metric;
  CHECK_FALSE(conversion_of("degC", choice));
  CHECK(conversion_of("kPa", choice));
  choice = {};
  choice.pressure = UnitSystem::imperial;
  CHECK(conversion_of("kPa", choice));
  CHECK_FALSE(conversion_of("m", choice));
  CHECK_FALSE(conversion_of("N", choice));
}

TEST_CASE("units without an imperial form stay") {
  for (const char* unit : {"%", "ppm", "rpm", "r/min", "V",   "A", "W",   "Hz",    "deg",    "rad",
                           "s", "ms",  "h",   "#",     "n/a", "",  "Ohm", "mg/kg", "mm3/m3", "furlong"})
    CHECK_FALSE(conversion_of(unit, kUs));
}

TEST_CASE("no unit is converted to itself or to nothing") {
  std::ifstream file(std::string(TRAMLOG_SOURCE_DIR) + "/dbc/process-data.csv");
  std::set<std::string> units;
  for (std::string line; std::getline(file, line);) {
    std::istringstream fields(line);
    std::string ddi, name, unit;
    std::getline(fields, ddi, ',');
    std::getline(fields, name, ',');
    std::getline(fields, unit, ',');
    units.insert(unit);
  }
  REQUIRE(units.contains("mg/m2"));
  std::size_t converted_units = 0;
  for (const std::string& unit : units) {
    CAPTURE(unit);
    for (const UnitChoice& choice : {kImperial, kUs}) {
      const auto conversion = conversion_of(unit, choice);
      if (!conversion) continue;
      ++converted_units;
      CHECK_FALSE(conversion->unit.empty());
      CHECK(conversion->unit != unit);
      CHECK(conversion->factor > 0);
    }
  }
  CHECK(converted_units >= 40);
}

TEST_CASE("converted numbers keep about the resolution") {
  CHECK(converted("m/s", kMetric, exact(2500, 3), 0.001) == "9.000");    // step 0.0036
  CHECK(converted("m/s", kUs, exact(2500, 3), 0.001) == "5.592");        // 2.5 x 2.2369363, step 0.0022
  CHECK(converted("degC", kUs, exact(21, 0), 1) == "70");                // 69.8, step 1.8
  CHECK(converted("degC", kUs, exact(2103125, 5), 0.03125) == "69.86");  // step 0.056
  CHECK(converted("degC", kUs, exact(40, 0, true), 1) == "-40");
  CHECK(converted("kPa", kUs, exact(350, 0), 10) == "51");  // 50.76, step 1.45
  CHECK(converted("kPa", kUs, exact(350, 0), 4) == "50.8");
  CHECK(converted("m", kUs, exact(0, 3), 0.001) == "0.000");
  CHECK(converted("mm", kUs, exact(254, 0), 1) == "10.00");
  CHECK(converted("km", kUs, exact(125, 3), 0.125) == "0.08");
}

TEST_CASE("binary fractions are converted without the dust of their arithmetic") {
  Number number;
  number.kind = Number::Kind::real;
  number.real = 0.1;
  CHECK(converted("m/s", kMetric, number, 1) == "0.36");
  number.real = std::numeric_limits<double>::infinity();
  CHECK_FALSE(is_finite(convert(number, *conversion_of("m/s", kMetric), 1)));
  number.real = 1e308;
  CHECK_FALSE(is_finite(convert(number, *conversion_of("m/s", kMetric), 1)));
  // A resolution that is nonsense asks for no impossible places.
  CHECK(convert(exact(1, 0), *conversion_of("m/s", kMetric), 1e-300).decimals == 17);
  CHECK(convert(exact(1, 0), *conversion_of("m/s", kMetric), 0).decimals == 0);
}

TEST_CASE("words for unit systems") {
  CHECK(parse_unit_system("metric") == UnitSystem::metric);
  CHECK(parse_unit_system("imperial") == UnitSystem::imperial);
  CHECK(parse_unit_system("us") == UnitSystem::us);
  for (const char* word : {"", "US", "Metric", "si", "metric "}) CHECK_FALSE(parse_unit_system(word));
}

TEST_CASE("the language command chooses units") {
  // Byte 5: mass bits 1-2, volume 3-4, area 5-6, distance 7-8; byte 6: system 1-2, force 3-4, pressure 5-6,
  // temperature 7-8.
  const auto choose = [](std::uint8_t byte5, std::uint8_t byte6, const UnitChoice& before) {
    const std::uint8_t data[] = {'e', 'n', 0x0F, 3, byte5, byte6, 'U', 'S'};
    return units_of_language_command(data, before);
  };
  using enum UnitSystem;
  CHECK(choose(0x00, 0x00, kUs) == kMetric);
  CHECK(choose(0b01'01'01'01, 0b01'01'01'01, kMetric) == kImperial);

  UnitChoice wanted;
  wanted.mass = us;
  wanted.volume = imperial;
  wanted.area = imperial;
  wanted.temperature = imperial;
  CHECK(choose(0b00'01'01'10, 0b01'00'00'00, kMetric) == wanted);

  // No action in every field keeps what was before.
  CHECK(choose(0xFF, 0xFF, wanted) == wanted);
  // No action in the fields, but a system: the system decides.
  CHECK(choose(0xFF, 0b11'11'11'10, kMetric) == kUs);
  // A reserved code (2) of distance and force follows the system, too.
  wanted = kMetric;
  wanted.distance = us;
  wanted.force = us;
  CHECK(choose(0b10'00'00'00, 0b00'00'10'10, kImperial) == wanted);
  // Without a system they stay.
  wanted = kMetric;
  wanted.distance = imperial;
  wanted.force = imperial;
  CHECK(choose(0b10'00'00'00, 0b00'00'10'11, kImperial) == wanted);
}

TEST_CASE("a language command may be short") {
  const std::uint8_t data[] = {'e', 'n', 0x0F, 3, 0x55, 0x55};
  CHECK(units_of_language_command(data, kMetric) == kImperial);
  CHECK_FALSE(units_of_language_command(Bytes(data, 5), kMetric));
  CHECK_FALSE(units_of_language_command({}, kMetric));
}

TEST_CASE("every temperature of the data dictionary is shown in degF to who wants that") {
  std::set<std::string> units;
  const Dictionary& dictionary = Schema::built_in().dictionary();
  for (const auto& [ddi, entry] : dictionary.entries)
    if (entry.name.find("emperature") != std::string::npos) units.insert(entry.unit);
  CHECK(units == std::set<std::string>{"mK"});
  for (const UnitChoice& choice : {kImperial, kUs}) {
    CHECK(conversion_of("mK", choice)->unit == "degF");
    CHECK(converted("mK", choice, exact(373150, 0), 1) == "212.000");  // boiling water, step 0.0018
    CHECK(converted("mK", choice, exact(233150, 0), 1) == "-40.000");
    CHECK(converted("mK", choice, exact(0, 0), 1) == "-459.670");
  }
  CHECK_FALSE(conversion_of("mK", kMetric));
  CHECK_FALSE(conversion_of("degC", kMetric));
}
