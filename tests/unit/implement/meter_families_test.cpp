#include <catch2/catch.hpp>
#include <map>

#include "implement/families.hpp"
#include "schema/schema.hpp"

namespace tramlog {
namespace {

const DictionaryEntry& entry(std::uint16_t ddi) {
  const DictionaryEntry* found = Schema::built_in().dictionary().find(ddi);
  REQUIRE(found != nullptr);
  return *found;
}
// What the dictionary's unit is in base units (mm3, mg, pieces) for each m2, s or m.
double base_of(const std::string& unit) {
  const std::map<std::string, double> table{
      {"mm3/m2", 1},  {"ml/m2", 1000}, {"mg/m2", 1}, {"/m2", 1},  {"mm3/s", 1}, {"mg/s", 1}, {"/s", 1},
      {"ml/m", 1000}, {"L", 1e6},      {"ml", 1000}, {"kg", 1e6}, {"g", 1000},  {"#", 1}};
  const auto found = table.find(unit);
  INFO(unit);
  REQUIRE(found != table.end());
  return found->second;
}

}  // namespace

TEST_CASE("the DDIs of a family have one unit and one resolution, and the names say what they are") {
  for (const QuantityFamily& family : quantity_families()) {
    INFO(family.quantity << " " << family.set);
    const DictionaryEntry& set = entry(family.set);
    CHECK(entry(family.actual).name.find("Actual") != std::string::npos);
    CHECK(set.name.find("Setpoint") != std::string::npos);
    for (const std::uint16_t ddi : {family.actual, family.fallback, family.minimum, family.maximum}) {
      if (ddi == kNoDdi) continue;
      INFO(ddi << " " << entry(ddi).name);
      CHECK(entry(ddi).unit == set.unit);
      CHECK(entry(ddi).resolution.to_double() == set.resolution.to_double());
    }
    if (family.minimum != kNoDdi) CHECK(entry(family.minimum).name.find("Minimum") != std::string::npos);
    if (family.maximum != kNoDdi) CHECK(entry(family.maximum).name.find("Maximum") != std::string::npos);
    if (family.fallback != kNoDdi) CHECK(entry(family.fallback).name.find("Default") != std::string::npos);
  }
}

TEST_CASE("rates and totals are in the base units that the table says") {
  for (const QuantityFamily& family : quantity_families()) {
    INFO(family.quantity << " " << family.set);
    if (family.base_per_unit > 0) CHECK(family.base_per_unit == base_of(entry(family.set).unit));
    for (const FamilyTotal& total : {family.task_totals[0], family.task_totals[1], family.lifetime_total})
      if (total.ddi != kNoDdi) CHECK(total.base_per_unit == base_of(entry(total.ddi).unit));
  }
}

TEST_CASE("a family is found by its set and its actual DDI, also where the actual one is numbered first") {
  REQUIRE(family_of(7) != nullptr);
  CHECK(family_of(7)->set == 6);
  CHECK(family_of(7)->task_totals[1].ddi == 352);
  REQUIRE(family_of(541) != nullptr);
  CHECK(family_of(541)->set == 542);
  CHECK_FALSE(family_of(541)->is_rate());
  CHECK(family_of(308)->set == 140);
  CHECK(family_of(308)->is_rate());
  CHECK(family_of(8) == nullptr);
  CHECK(family_of(141) == nullptr);
  CHECK(family_of(kNoDdi) == nullptr);
}

}  // namespace tramlog
