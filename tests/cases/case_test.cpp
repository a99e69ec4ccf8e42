// Every case under captures/: the report tells the staged truth, equals its golden, and does not depend on
// the way in.
#include <catch2/catch.hpp>
#include <filesystem>

#include "cases/all_cases.hpp"
#include "cases/program.hpp"
#include "cases/truth.hpp"

using namespace tramlog::cases;

namespace {

int expected_code(const nlohmann::json& report) {
  if (!report["capture"]["damage"].empty()) return 3;
  for (const auto& fault : report["faults"])
    if (fault["severity"] != "note") return 1;
  for (const auto& controller : report["controllers"])
    if (controller["state"] != "present") return 1;
  for (const auto& dropout : report["dropouts"])
    if (dropout["kind"] != "power-down") return 1;
  if (!report["roster"].is_null())
    for (const auto& entry : report["roster"]["entries"])
      if (entry["required"] == true && entry["state"] != "present" && entry["state"] != "software-unknown")
        return 1;
  return 0;
}

}  // namespace

TEST_CASE("there are cases") {
  REQUIRE(all_cases().size() >= 19);
}

TEST_CASE("reports tell the staged truth") {
  for (const Case& one : all_cases()) {
    DYNAMIC_SECTION(one.name) {
      const Outcome json = run(report_command(one, "json") + quoted(one.capture));
      REQUIRE(json.errors.empty());
      const auto report = nlohmann::json::parse(json.output);
      const auto truth = nlohmann::json::parse(file_text(one.folder + "/truth.json"));
      const auto wrong = departures(report, truth);
      for (const auto& line : wrong) UNSCOPED_INFO(line);
      CHECK(wrong.empty());
      CHECK(json.code == expected_code(report));
    }
  }
}

TEST_CASE("reports equal their goldens") {
  for (const Case& one : all_cases()) {
    DYNAMIC_SECTION(one.name) {
      CHECK(run(report_command(one, "json") + quoted(one.capture)).output ==
            file_text(one.folder + "/report.json"));
      const std::string summary = one.folder + "/summary.txt";
      if (std::filesystem::exists(summary))
        CHECK(run(report_command(one, "summary") + quoted(one.capture)).output == file_text(summary));
      const std::string text = run(report_command(one, "text") + quoted(one.capture)).output;
      CHECK(text == file_text(one.folder + "/report.txt"));
      std::size_t column = 0;
      for (const char c : text) {
        column = c == '\n' ? 0 : column + 1;
        REQUIRE(column <= 78);
        REQUIRE((c == '\n' || (c >= 0x20 && c < 0x7F)));
      }
    }
  }
}

TEST_CASE("the same capture gives the same bytes whichever way it comes in") {
  for (const Case& one : all_cases()) {
    DYNAMIC_SECTION(one.name) {
      const std::string command = report_command(one, "json");
      const bool compressed = one.capture.ends_with(".zst");
      const std::string plain = compressed ? "zstd -dcq " : "cat ";
      const Outcome direct = run(command + quoted(one.capture));
      CHECK(run(command + quoted(one.capture)).output == direct.output);
      CHECK(run(plain + quoted(one.capture) + " | " + command + "-").output == direct.output);
      CHECK(run(plain + quoted(one.capture) + " | zstd -cq | " + command + "-").output == direct.output);
      // In its own folder under another name: no path may show.
      const std::string copy = "/tmp/tramlog-copy-" + one.name + ".pcapng";
      CHECK(run(plain + quoted(one.capture) + " >" + copy + "; cd /; " + command + copy + "; rm " + copy)
                .output == direct.output);
    }
  }
}
