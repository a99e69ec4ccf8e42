// The seeding check-list and the device descriptions of every case that was played with its implement: what
// the simulation knows, the goldens, and the options.
#include <algorithm>
#include <catch2/catch.hpp>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "cases/program.hpp"

using namespace tramlog::cases;
namespace fs = std::filesystem;
using Json = nlohmann::json;

namespace {

struct Drill {
  std::string name, folder, capture;
  Json truth;
};

std::vector<Drill> all_drills() {
  std::vector<Drill> drills;
  for (const auto& entry : fs::directory_iterator(TRAMLOG_SOURCE_DIR "/captures")) {
    if (!fs::exists(entry.path() / "case.toml")) continue;
    Json truth = Json::parse(file_text(entry.path() / "truth.json"));
    if (!truth.contains("implements") || truth["implements"].empty()) continue;
    const fs::path plain = entry.path() / "capture.pcapng";
    drills.push_back({entry.path().filename(), entry.path(),
                      fs::exists(plain) ? plain.string() : plain.string() + ".zst", std::move(truth)});
  }
  std::sort(drills.begin(), drills.end(), [](const Drill& a, const Drill& b) { return a.name < b.name; });
  return drills;
}

const Drill& drill(const std::string& name) {
  static const std::vector<Drill> drills = all_drills();
  const auto found =
      std::find_if(drills.begin(), drills.end(), [&](const Drill& d) { return d.name == name; });
  REQUIRE(found != drills.end());
  return *found;
}

std::string capture_of(const std::string& name) {
  return quoted(drill(name).capture);
}

std::vector<Json> attention(const Json& seeding) {
  std::vector<Json> lines;
  const auto add = [&](const Json& list) {
    for (const Json& line : list)
      if (line["verdict"] == "attention") lines.push_back(line);
  };
  for (const Json& implement : seeding["implements"]) add(implement["lines"]);
  add(seeding["lines"]);
  return lines;
}

/// A folder of its own that goes away again.
struct Folder {
  Folder() {
    char name[] = "/tmp/tramlog-seeding-XXXXXX";
    REQUIRE(mkdtemp(name) != nullptr);
    path = name;
  }
  ~Folder() { fs::remove_all(path); }
  std::string path;
};

}  // namespace

TEST_CASE("there are drills") {
  REQUIRE(all_drills().size() >= 10);
}

TEST_CASE("every injected fault needs attention, and a healthy drill none") {
  for (const Drill& one : all_drills()) {
    DYNAMIC_SECTION(one.name) {
      const Outcome result = run("TRAMLOG seeding --format json " + quoted(one.capture));
      const auto lines = attention(Json::parse(result.output));
      for (const Json& line : lines) UNSCOPED_INFO(line["code"] << ": " << line["text"]);
      const Json& truth = one.truth["implements"][0];
      for (const Json& fault : truth["faults"]) {
        if (fault["code"].is_null()) continue;
        INFO("fault " << fault.dump());
        CHECK(std::any_of(lines.begin(), lines.end(),
                          [&](const Json& line) { return line["code"] == fault["code"]; }));
      }
      if (truth["healthy"] == true) CHECK(lines.empty());
      CHECK(result.code == (lines.empty() ? 0 : 1));
    }
  }
}

TEST_CASE("check-lists and descriptions equal their goldens") {
  for (const Drill& one : all_drills()) {
    DYNAMIC_SECTION(one.name) {
      for (const std::string command : {"seeding", "devices"}) {
        const std::string text = run("TRAMLOG " + command + " " + quoted(one.capture)).output;
        CHECK(text == file_text(one.folder + "/" + command + ".txt"));
        std::size_t column = 0;
        for (const char c : text) {
          column = c == '\n' ? 0 : column + 1;
          REQUIRE(column <= 78);
          REQUIRE((c == '\n' || (c >= 0x20 && c < 0x7F)));
        }
      }
    }
  }
}

TEST_CASE("a check-list begins with its cautions") {
  const std::string text = run("TRAMLOG seeding " + capture_of("drill-healthy")).output;
  std::string words = text;
  std::replace(words.begin(), words.end(), '\n', ' ');
  CHECK(words.find("the machine's manual and local rules") < words.find("ANSWER"));
  CHECK(words.find("does not replace calibration") < words.find("ANSWER"));
}

TEST_CASE("limits are shown with their reasons and can be replaced") {
  const Folder folder;
  const std::string file = folder.path + "/limits.toml";
  const Outcome shown = run("TRAMLOG seeding --print-limits");
  CHECK(shown.code == 0);
  CHECK(shown.output == file_text(TRAMLOG_SOURCE_DIR "/dbc/seeding-limits.toml") +
                            file_text(TRAMLOG_SOURCE_DIR "/dbc/bus-limits.toml"));
  // Stricter than any machine.
  REQUIRE(run("printf '[meter]\\ndead_time_s = 0.01\\n' >" + file).code == 0);
  const Outcome strict =
      run("TRAMLOG seeding --format json --limits " + file + " " + capture_of("drill-healthy"));
  CHECK(strict.code == 1);
  const auto lines = attention(Json::parse(strict.output));
  REQUIRE_FALSE(lines.empty());
  for (const Json& line : lines) CHECK(line["code"] == "meter.dead-time");
  for (const std::string bad :
       {"[meter]\\ndead_tiem_s = 1\\n", "[meter]\\ndead_time_s = \"x\"\\n", "[meter\\n"}) {
    REQUIRE(run("printf '" + bad + "' >" + file).code == 0);
    const Outcome refused = run("TRAMLOG seeding --limits " + file + " " + capture_of("drill-healthy"));
    CHECK(refused.code == 2);
    CHECK(refused.output.empty());
    CHECK(refused.errors.find(file) != std::string::npos);
  }
}

TEST_CASE("the report carries pairs, sections and what needs attention") {
  const Json report = Json::parse(run("TRAMLOG report --format json " + capture_of("section-stuck")).output);
  REQUIRE(report["implements"].size() == 1);
  CHECK_FALSE(report["implements"][0]["pairs"].empty());
  CHECK_FALSE(report["implements"][0]["sections"].empty());
  CHECK(std::any_of(report["faults"].begin(), report["faults"].end(),
                    [](const Json& fault) { return fault["code"] == "section.never-follows"; }));
  const std::string text = run("TRAMLOG report " + capture_of("section-stuck")).output;
  CHECK(text.find("section.never-follows") != std::string::npos);
}

TEST_CASE("a description that was saved names the elements of a recording without an upload") {
  const Folder folder;
  const std::string pool = folder.path + "/drill.pool";
  const Json& truth = drill("drill-healthy").truth["implements"][0];
  REQUIRE(run("TRAMLOG devices --save " + pool + " " + capture_of("drill-healthy")).code == 0);
  CHECK(fs::file_size(pool) == truth["pool"]["bytes"].get<std::uintmax_t>());
  const auto description = [](const Outcome& outcome) {
    return Json::parse(outcome.output)["implements"][0]["description"];
  };
  const std::string stored = capture_of("pool-stored");
  const Json without = description(run("TRAMLOG seeding --format json " + stored));
  CHECK(without["source"] == "none");
  const Json given =
      description(run("TRAMLOG seeding --format json --device-description " + pool + " " + stored));
  CHECK(given["source"] == "given");
  CHECK(given["bytes"] == truth["pool"]["bytes"]);
  // Out of a capture that holds the upload.
  const Json of_capture = description(run("TRAMLOG seeding --format json --device-description " +
                                          capture_of("drill-healthy") + " " + stored));
  CHECK(of_capture["bytes"] == truth["pool"]["bytes"]);
  // Out of a library.
  const std::string library = folder.path + "/library";
  REQUIRE(run("TRAMLOG devices --learn --library " + library + " " + capture_of("drill-healthy")).code == 0);
  const Json learned = description(run("TRAMLOG seeding --format json --library " + library + " " + stored));
  CHECK(learned["source"] == "library");
  CHECK(learned["bytes"] == truth["pool"]["bytes"]);
}
