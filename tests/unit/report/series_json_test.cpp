#include "report/series_json.hpp"

#include <catch2/catch.hpp>
#include <limits>

using namespace tramlog;

namespace {

constexpr float kNone = std::numeric_limits<float>::quiet_NaN();

Conclusions with_series(const std::string& subject) {
  Conclusions all;
  all.buses.emplace_back();
  all.buses[0].name = subject;
  all.series.start = 60 * kSecond;
  all.series.step = 2 * kSecond;
  all.series.steps = 3;
  all.series.loads.push_back({0, {12.345F, kNone, 0}, {99.99F, kNone, -0.0F}});
  all.series.voltages.push_back({std::nullopt, 240, 0, {11.5F, 0.05F, kNone}, {13.85F, 0.1F, kNone}});
  all.series.rates.push_back({0, 1, subject, subject, subject, {12000, 0, kNone}, {0.125F, 1, kNone}});
  all.series.sections.push_back({0, 3, subject, {0, 0.5F, 1}, {kNone, 0.25F, 1}});
  return all;
}

OrderedJson written(const Conclusions& all, std::string& text) {
  OrderedJson object{{"schema", "tramlog.report/1"}, {"note", "\n  \"series\": null"}, {"series", series_json(all)}};
  text = dumped_report(std::move(object));
  return OrderedJson::parse(text);
}

}  // namespace

TEST_CASE("Numbers of the pictures are written as numbers, a line each", "[series]") {
  std::string text;
  const OrderedJson read = written(with_series("can0"), text);
  const OrderedJson& series = read["series"];
  CHECK(series["start"] == "1970-01-01T00:01:00.000000000Z");
  CHECK(series["step_s"] == 2.0);
  CHECK(series["steps"] == 3);
  CHECK(series["loads"][0]["mean_pct"].dump() == "[12.3,null,0]");
  CHECK(series["loads"][0]["peak_pct"].dump() == "[100,null,0]");
  CHECK(series["voltages"][0]["least_v"].dump() == "[11.5,0.05,null]");
  CHECK(series["voltages"][0]["controller"].is_null());
  CHECK(series["rates"][0]["set"].dump() == "[12000,0,null]");
  CHECK(series["rates"][0]["actual"].dump() == "[0,1,null]");  // as many figures as its set rate needs
  CHECK(series["sections"][0]["on"].dump() == "[null,0.25,1]");
  CHECK(text.find("\"mean_pct\": [12.3,null,0],\n") != std::string::npos);
}

TEST_CASE("Names that look like numbers stay names", "[series]") {
  for (const std::string evil : {"[1,2]", "\n        \"set\": \"[1", "set\": \"[", "\"[", "\\\": \"[9]"}) {
    std::string text;
    const OrderedJson read = written(with_series(evil), text);
    CHECK(read["note"] == "\n  \"series\": null");
    CHECK(read["series"]["loads"][0]["bus"] == evil);
    CHECK(read["series"]["rates"][0]["subject"] == evil);
    CHECK(read["series"]["rates"][0]["unit"] == evil);
    CHECK(read["series"]["rates"][0]["set"].dump() == "[12000,0,null]");
    CHECK(read["series"]["sections"][0]["subject"] == evil);
  }
}

TEST_CASE("Nothing to draw", "[series]") {
  std::string text;
  CHECK(written(Conclusions{}, text)["series"].is_null());
}

TEST_CASE("The place is told only if it may be", "[series]") {
  Conclusions all;
  all.machine.place = MachineRecord::Place{52.5, -4.25};
  all.machine.hours_first = 1204.35;
  all.machine.hours_last = 1205.1;
  CHECK(machine_json(all, false)["place"].is_null());
  CHECK(machine_json(all, true)["place"]["latitude_deg"] == 52.5);
  CHECK(machine_json(all, true)["place"]["longitude_deg"] == -4.25);
  CHECK(machine_json(all, false)["hours_first"] == 1204.35);
}
