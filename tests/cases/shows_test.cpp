// captures/shows.toml: for every fault and every cause that the program can tell there is a case that shows
// it, and one that looks like it but is not.
#include <algorithm>
#include <catch2/catch.hpp>
#include <filesystem>
#include <map>
#include <nlohmann/json.hpp>
#include <set>

#include "base/toml.hpp"
#include "cases/program.hpp"
#include "exam/cause.hpp"
#include "exam/causes/table.inc"
#include "exam/check.hpp"
#include "exam/checks/table.inc"
#include "exam/findings.hpp"

using namespace tramlog::cases;
using Json = nlohmann::json;

namespace {

const std::string kCaptures = TRAMLOG_SOURCE_DIR "/captures/";

struct Pair {
  std::string shown, looks_like_it;
};
using Pairs = std::map<std::string, Pair>;

struct Shows {
  Pairs faults, causes;
  std::set<std::string> told_only;  // lines of the check-list that never need attention
};

Pairs pairs_of(const toml::table& file, const char* what) {
  Pairs pairs;
  const toml::table* table = file[what].as_table();
  REQUIRE(table != nullptr);
  for (const auto& [code, entry] : *table) {
    INFO(what << " " << code.str());
    REQUIRE(entry.is_table());
    const toml::table& fields = *entry.as_table();
    CHECK(fields.size() == 2);
    const auto shown = fields["shown"].value<std::string>(), other = fields["not"].value<std::string>();
    REQUIRE(shown.has_value());
    REQUIRE(other.has_value());
    CHECK(*shown != *other);
    pairs[std::string(code.str())] = {*shown, *other};
  }
  return pairs;
}

Shows read_shows() {
  const std::string text = file_text(kCaptures + "shows.toml");
  const toml::parse_result parsed = toml::parse(text);
  REQUIRE(parsed);
  Shows shows;
  shows.faults = pairs_of(parsed.table(), "fault");
  shows.causes = pairs_of(parsed.table(), "cause");
  const toml::array* lines = parsed.table()["told-only"]["lines"].as_array();
  REQUIRE(lines != nullptr);
  for (const auto& line : *lines) shows.told_only.insert(line.value_or(std::string()));
  return shows;
}

/// The lines of the check-list that this program has, as it names them of a drill.
std::set<std::string> check_list_codes() {
  const Outcome told =
      run("TRAMLOG seeding --format json " + quoted(kCaptures + "drill-healthy/capture.pcapng.zst"));
  const Json report = Json::parse(told.output);
  std::set<std::string> codes;
  const auto add = [&](const Json& lines) {
    for (const Json& line : lines) codes.insert(line["code"].get<std::string>());
  };
  add(report["lines"]);
  for (const Json& implement : report["implements"]) add(implement["lines"]);
  REQUIRE(codes.size() >= 49);
  return codes;
}

std::set<std::string> keys_of(const Pairs& pairs) {
  std::set<std::string> keys;
  for (const auto& [code, pair] : pairs) keys.insert(code);
  return keys;
}

std::vector<std::string> only_in(const std::set<std::string>& a, const std::set<std::string>& b) {
  std::vector<std::string> rest;
  std::set_difference(a.begin(), a.end(), b.begin(), b.end(), std::back_inserter(rest));
  return rest;
}

Json report_of(const std::string& name) {
  INFO("case " << name);
  REQUIRE(std::filesystem::exists(kCaptures + name + "/case.toml"));
  return Json::parse(file_text(kCaptures + name + "/report.json"));
}

bool has_fault(const Json& report, const std::string& code) {
  return std::any_of(report["faults"].begin(), report["faults"].end(),
                     [&](const Json& fault) { return fault["code"] == code; });
}
bool has_cause(const Json& report, const std::string& code) {
  return std::any_of(report["findings"].begin(), report["findings"].end(),
                     [&](const Json& finding) { return finding["cause"] == code; });
}
/// The first finding, or the one that stands beside it: both explain the same.
bool leads_with(const Json& report, const std::string& code) {
  const Json& findings = report["findings"];
  if (findings.empty()) return false;
  if (findings[0]["cause"] == code) return true;
  return findings.size() > 1 && findings[1]["cause"] == code && !findings[0]["tell_apart"].is_null() &&
         findings[0]["explains"] == findings[1]["explains"];
}

}  // namespace

TEST_CASE("every code of the program has a case that shows it and one that looks like it") {
  const Shows shows = read_shows();
  std::set<std::string> faults = check_list_codes();
  for (const std::string& line : shows.told_only) {
    INFO(line);
    CHECK(faults.erase(line) == 1);
  }
  // A check whose faults carry the codes of the check-list has a word for a code, not a dotted one.
  for (const tramlog::Check* check : tramlog::checks::kAll)
    if (std::string(check->code).find('.') != std::string::npos) faults.insert(check->code);
  std::set<std::string> causes = {tramlog::kCauseNotKnown};
  for (const tramlog::Cause* cause : tramlog::causes::kAll) causes.insert(cause->code);

  CHECK(only_in(faults, keys_of(shows.faults)) == std::vector<std::string>());
  CHECK(only_in(keys_of(shows.faults), faults) == std::vector<std::string>());
  CHECK(only_in(causes, keys_of(shows.causes)) == std::vector<std::string>());
  CHECK(only_in(keys_of(shows.causes), causes) == std::vector<std::string>());
}

TEST_CASE("the cases show the faults, and their likes do not") {
  const Shows shows = read_shows();
  for (const auto& [code, pair] : shows.faults) {
    INFO(code << ": shown " << pair.shown << ", not " << pair.looks_like_it);
    CHECK(has_fault(report_of(pair.shown), code));
    CHECK_FALSE(has_fault(report_of(pair.looks_like_it), code));
  }
}

TEST_CASE("the cases show the causes, and their likes do not") {
  const Shows shows = read_shows();
  for (const auto& [code, pair] : shows.causes) {
    INFO(code << ": shown " << pair.shown << ", not " << pair.looks_like_it);
    CHECK(leads_with(report_of(pair.shown), code));
    CHECK_FALSE(has_cause(report_of(pair.looks_like_it), code));
  }
}

TEST_CASE("lines that are only told are never a fault") {
  const Shows shows = read_shows();
  for (const auto& entry : std::filesystem::directory_iterator(kCaptures)) {
    if (!std::filesystem::exists(entry.path() / "report.json")) continue;
    const Json report = report_of(entry.path().filename());
    for (const std::string& line : shows.told_only) {
      INFO(line << " in " << entry.path().filename());
      CHECK_FALSE(has_fault(report, line));
    }
  }
}
