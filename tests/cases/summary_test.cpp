// The summary for an e-mail, of every case: from its first 24 lines alone stands who is missing, since when,
// and what to do first. Who and when comes from the simulation's own record, not from the report.
#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <set>
#include <sstream>

#include "cases/all_cases.hpp"
#include "cases/program.hpp"

using namespace tramlog::cases;
using Json = nlohmann::json;

namespace {

constexpr std::size_t kTop = 24, kMost = 59, kColumns = 78;

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

// One blank between words, whatever the line breaks.
std::string flat(const std::vector<std::string>& lines, std::size_t from, std::size_t to) {
  std::string all;
  for (std::size_t i = from; i < std::min(to, lines.size()); ++i) {
    std::istringstream words(lines[i]);
    for (std::string word; words >> word;) all += (all.empty() ? "" : " ") + word;
  }
  return all;
}

// "08:12:30" and the seconds beside it: a staged end and the last frame heard lie up to a period apart.
std::vector<std::string> times_near(const Json& time) {
  const auto text = time.get<std::string>();
  const int at = std::stoi(text.substr(11, 2)) * 3600 + std::stoi(text.substr(14, 2)) * 60 +
                 std::stoi(text.substr(17, 2));
  std::vector<std::string> times;
  for (const int second : {at - 1, at, at + 1})
    times.push_back(fmt::format("{:02}:{:02}:{:02}", second / 3600, second / 60 % 60, second % 60));
  return times;
}

struct Trouble {
  std::string label;
  std::set<std::string> called;  // any of these is its name in a summary
  Json since;
};

// Who was staged to be away while the recorder was hearing; everybody at most once, by time.
std::vector<Trouble> staged(const Json& truth, const std::string& roster_text) {
  const bool roster = !roster_text.empty();
  const auto wanted = [&](const Json& c) {
    return roster_text.find(fmt::format("label = \"{}\"", c["label"].get<std::string>())) !=
           std::string::npos;
  };
  std::vector<Trouble> all;
  const auto names = [&](const Json& c) {
    std::set<std::string> called;
    if (roster) called.insert(c["label"].get<std::string>());
    for (const Json& a : c["addresses"]) called.insert(fmt::format("(address {},", a["address"].get<int>()));
    return called;
  };
  for (const Json& c : truth["controllers"])
    if (c["absent"] == true && wanted(c))
      all.push_back({c["label"], {c["label"].get<std::string>()}, nullptr});
  for (const Json& d : truth["dropouts"]) {
    if (d["regular"] != true || d["overlaps_blind"] == true || d["kind"] != "controller") continue;
    const auto known =
        std::find_if(all.begin(), all.end(), [&](const Trouble& t) { return t.label == d["label"]; });
    if (known != all.end()) continue;
    for (const Json& c : truth["controllers"])
      if (c["label"] == d["label"]) all.push_back({d["label"], names(c), d["start"]});
  }
  return all;
}

bool has_any(const std::string& text, const std::set<std::string>& words) {
  return std::any_of(words.begin(), words.end(),
                     [&](const std::string& w) { return text.find(w) != std::string::npos; });
}

}  // namespace

TEST_CASE("a summary fits an e-mail") {
  for (const Case& one : all_cases()) {
    DYNAMIC_SECTION(one.name) {
      for (const char* command : {"report", "rollcall", "seeding"}) {
        if (one.roster.empty() && command == std::string("rollcall")) continue;
        const std::string roster =
            one.roster.empty() || command == std::string("seeding") ? "" : " --roster " + quoted(one.roster);
        const Outcome out =
            run(fmt::format("TRAMLOG {} --format summary{} {}", command, roster, quoted(one.capture)));
        INFO(out.output);
        REQUIRE(out.code <= 3);
        const auto lines = lines_of(out.output);
        CHECK(lines.size() >= 4);
        CHECK(lines.size() <= kMost);
        for (const std::string& line : lines) {
          CHECK(line.size() <= kColumns);
          CHECK(std::all_of(line.begin(), line.end(), [](char c) { return c >= 0x20 && c < 0x7F; }));
        }
      }
    }
  }
}

TEST_CASE("who is missing, since when, and the first step stand at the top of a summary") {
  std::size_t told = 0, steps = 0;
  for (const Case& one : all_cases()) {
    const Outcome out = run(report_command(one, "summary") + quoted(one.capture));
    const auto lines = lines_of(out.output);
    const std::string top = flat(lines, 2, kTop);  // without machine and time span
    const Json truth = Json::parse(file_text(one.folder + "/truth.json"));
    const Json report = Json::parse(file_text(one.folder + "/report.json"));
    INFO(one.name << "\n" << out.output);
    const auto troubles = staged(truth, one.roster.empty() ? "" : file_text(one.roster));
    std::size_t named = 0;
    for (const Trouble& trouble : troubles) {
      if (!has_any(top, trouble.called)) continue;
      ++named;
      if (trouble.since.is_null()) continue;
      const auto times = times_near(trouble.since);
      CHECK(has_any(top, std::set<std::string>(times.begin(), times.end())));
    }
    INFO(named << " of " << troubles.size() << " are named");
    // Of a crowd the first few, and how many more.
    if (troubles.size() <= 3)
      CHECK(named == troubles.size());
    else
      CHECK((named >= 3 && (top.find(" more ") != std::string::npos || named == troubles.size())));
    told += named;
    if (out.code == 0) continue;
    // The whole first step of the first finding; of what no finding speaks for, one of the summary's own.
    const std::size_t first = top.find("First: ");
    CHECK(first != std::string::npos);
    if (!report["findings"].empty()) {
      const auto step = report["findings"][0]["next_steps"][0].get<std::string>();
      CHECK(top.find("First: " + step) != std::string::npos);
    }
    ++steps;
  }
  CHECK(told >= 40);
  CHECK(steps >= 60);
}
