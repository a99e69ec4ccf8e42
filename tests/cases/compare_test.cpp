// tramlog compare on real captures, on their reports, and on what cannot be compared.
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "cases/all_cases.hpp"
#include "cases/program.hpp"
#include "unit/temp_folder.hpp"

using namespace tramlog::cases;
using tramlog::test::TempFolder;
using Json = nlohmann::json;

namespace {

std::string capture_of(const std::string& name) {
  for (const Case& one : all_cases())
    if (one.name == name) return quoted(one.capture);
  return "none";
}

std::string report_of(const std::string& name) {
  return quoted(TRAMLOG_SOURCE_DIR "/captures/" + name + "/report.json");
}

std::string roster_of(const std::string& name) {
  return " --roster " + quoted(TRAMLOG_SOURCE_DIR "/captures/" + name + "/roster.toml") + " ";
}

bool has(const std::string& text, const std::string& words) {
  return text.find(words) != std::string::npos;
}

}  // namespace

TEST_CASE("a repair and a failure are told, and decide the exit code") {
  const Outcome failed = run("TRAMLOG compare" + roster_of("healthy") + capture_of("healthy") + " " +
                             capture_of("missing-metering-front"));
  CHECK(failed.code == 1);
  CHECK(has(failed.output,
            "WORSE\n  * metering front: was there before and is not on the bus any more (NAME\n"));
  const Outcome repaired = run("TRAMLOG compare" + roster_of("healthy") +
                               capture_of("missing-metering-front") + " " + capture_of("healthy"));
  CHECK(repaired.code == 0);
  CHECK(has(repaired.output, "BETTER\n  * metering front: is on the bus and was not there before (NAME\n"));
  CHECK_FALSE(has(repaired.output, "WORSE"));
  const Outcome same = run("TRAMLOG compare " + report_of("supply-drop") + " " + report_of("supply-drop"));
  CHECK(same.code == 0);
  CHECK(has(same.output, "Nothing changed."));
}

TEST_CASE("a capture, its folder and its report are the same side") {
  const std::string before = " " + report_of("healthy") + " ";
  const std::string command = "TRAMLOG compare --format json" + roster_of("supply-drop");
  const Outcome report = run(command + before + report_of("supply-drop"));
  const Outcome capture = run(command + before + capture_of("supply-drop"));
  const Outcome folder = run(command + before + quoted(TRAMLOG_SOURCE_DIR "/captures/supply-drop"));
  const Outcome listed = run(command + "--before" + before + "--after " + capture_of("supply-drop"));
  CHECK(report.code == 1);
  CHECK(capture.output == report.output);
  CHECK(folder.output == report.output);
  CHECK(listed.output == report.output);
  const Json json = Json::parse(report.output);
  CHECK(json["schema"] == "tramlog.compare/1");
  CHECK(json["verdict"] == "worse");
  CHECK(json["worse"] == json["changes"].size() - json["other"].get<std::size_t>());
  // The supply that failed, and in it the dropouts of metering front and rear, twice each.
  REQUIRE(json["changes"][0]["code"] == "finding.gained");
  std::size_t lost = 0;
  for (const Json& part : json["changes"][0]["counted"])
    if (part["code"] == "dropout.gained") {
      ++lost;
      CHECK(part["verdict"] == "worse");
      CHECK(part["before"] == 0);
      CHECK(part["after"] == 2);
    }
  CHECK(lost == 2);
}

TEST_CASE("pages of a comparison stand alone") {
  const Outcome page =
      run("TRAMLOG compare --format html " + report_of("drill-healthy") + " " + report_of("sections-late"));
  CHECK(page.code == 1);
  CHECK(has(page.output, "section 1"));
  CHECK(has(page.output, "delay to switch on (median)"));
  CHECK_FALSE(has(page.output, "http:"));
  CHECK_FALSE(has(page.output, "https:"));
  CHECK(page.output.ends_with("</html>\n"));
}

TEST_CASE("what cannot be compared is told with its exit code") {
  const std::string good = " " + report_of("healthy") + " ";
  CHECK(run("TRAMLOG compare" + good).code == 2);
  CHECK(run("TRAMLOG compare" + good + good + good).code == 2);
  CHECK(run("TRAMLOG compare --before" + good + "--after" + good + good).code == 2);
  CHECK(run("TRAMLOG compare --format pdf" + good + good).code == 2);
  CHECK(run("TRAMLOG compare -o" + good + good + report_of("dtcs")).code == 2);  // would overwrite its input
  CHECK(run("TRAMLOG compare" + good + "/nowhere/at-all.pcapng").code == 3);
  CHECK(run("TRAMLOG compare" + good + quoted(TRAMLOG_SOURCE_DIR "/captures/healthy/truth.json")).code == 3);
  CHECK(run("TRAMLOG compare" + good + quoted(TRAMLOG_SOURCE_DIR "/README.md")).code == 3);
  CHECK(run("TRAMLOG compare" + good + quoted(TRAMLOG_SOURCE_DIR "/src/tool")).code == 3);
  const Outcome damaged = run("TRAMLOG compare" + good + capture_of("damaged"));
  CHECK(damaged.code == 3);
  CHECK(has(damaged.output, "could not be read"));
}

TEST_CASE("a private parcel, its report and its slices are known as such", "[parcel]") {
  const TempFolder folder;
  const std::string eml = quoted(folder.path("p.eml")), plain = quoted(folder.path("plain.eml")),
                    inside = quoted(folder.path("inside"));
  const std::string make = "TRAMLOG parcel" + roster_of("supply-drop") + capture_of("supply-drop") + " -o ";
  REQUIRE(run(make + eml + " --private").code == 0);
  REQUIRE(run(make + plain).code == 0);
  REQUIRE(run("TRAMLOG parcel --unpack " + eml + " -o " + inside).code == 0);
  const std::string report = quoted(folder.path("inside/report.json"));
  for (const std::string& side : {eml, report, inside}) {
    INFO(side);
    const Outcome compared =
        run("TRAMLOG compare" + roster_of("supply-drop") + report_of("supply-drop") + " " + side);
    CHECK(has(compared.output, "DOUBT The side after is private"));
    CHECK_FALSE(has(compared.output, "another unit"));
  }
  const Outcome same = run("TRAMLOG compare " + report_of("supply-drop") + " " + plain);
  CHECK(same.code == 0);
  CHECK(has(same.output, "Nothing changed."));
  CHECK_FALSE(has(same.output, "private"));
}
