// Holds the causes against the truth of the simulation, which the rules never read.
//
//   score_causes [--stage PROGRAM] [--first SEED] [--count N] [--captures FOLDER] [--weights FILE] [--keep
//   FOLDER] [--verbose]
//
// --count N draws N scenarios with `PROGRAM --draw SEED`; --captures takes the capture.pcapng.zst, truth.json
// and roster.toml of every folder below FOLDER instead. Each is examined with and without its roster.
// Printed: recall and precision of each cause, who was taken for whom, how often the right cause came first
// and among the first three, false alarms per healthy hour, and the errors of dropout times against the
// fastest period of the controller. Status 1 if nothing could be scored.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <map>
#include <nlohmann/json.hpp>
#include <set>
#include <sstream>
#include <string>
#include <vector>

#include "exam/examiner.hpp"
#include "io/capture_reader.hpp"

namespace {

using Json = nlohmann::json;
using namespace tramlog;
namespace fs = std::filesystem;

struct Row {
  std::size_t there = 0, first = 0, among_three = 0, anywhere = 0, proposed_first = 0, right_first = 0;
};

struct Score {
  std::size_t runs = 0, healthy = 0, false_alarms = 0, not_read = 0;
  double healthy_hours = 0;
  std::map<std::string, Row> rows;
  std::map<std::pair<std::string, std::string>, std::size_t> taken_for;  // truth, first finding
  std::size_t times = 0, within_period = 0;
  double worst_periods = 0;
};

std::string text_of(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  std::stringstream text;
  text << in.rdbuf();
  return text.str();
}

std::optional<TimeNs> time_of(const Json& time) {
  if (!time.is_string()) return std::nullopt;
  std::tm parts{};
  long nanoseconds = 0;
  if (std::sscanf(time.get<std::string>().c_str(), "%d-%d-%dT%d:%d:%d.%9ldZ", &parts.tm_year, &parts.tm_mon,
                  &parts.tm_mday, &parts.tm_hour, &parts.tm_min, &parts.tm_sec, &nanoseconds) != 7)
    return std::nullopt;
  parts.tm_year -= 1900;
  parts.tm_mon -= 1;
  return timegm(&parts) * kSecond + nanoseconds;
}

std::optional<Conclusions> examine(const std::string& capture, const std::optional<Roster>& roster,
                                   const CauseWeights& weights) {
  auto source = CaptureSource::open({capture});
  if (!source) return std::nullopt;
  Examiner examiner;
  for (;;) {
    const std::span<const Event> events = source->read();
    if (events.empty()) break;
    examiner.take(events);
  }
  return examiner.conclude(roster, weights);
}

// Says nothing of the machine: no false alarm, and no first finding either.
bool of_the_recording(const std::string& code) {
  return code.rfind("recorder.", 0) == 0 || code.rfind("capture.", 0) == 0;
}
bool is_fault(const std::string& code) {
  return code != "operator.power-down";
}

// When a controller of the truth fell silent is compared through its NAME; the period is the fastest that it
// had.
void compare_times(Score& score, const Json& truth, const Conclusions& found) {
  if (!truth.contains("dropouts")) return;
  for (const Json& was : truth["dropouts"]) {
    const auto start = was.contains("start") ? time_of(was["start"]) : std::nullopt;
    const std::string name = was.contains("controller") && was["controller"].is_string()
                                 ? was["controller"].get<std::string>()
                                 : "";
    if (!start || name.empty()) continue;
    double best = -1;
    for (const Dropout& d : found.dropouts) {
      if (!d.controller || d.fastest_period <= 0 || found.controllers[*d.controller].name.hex() != name)
        continue;
      const double periods = std::abs(to_seconds(d.start.time - *start)) / to_seconds(d.fastest_period);
      if (best < 0 || periods < best) best = periods;
    }
    if (best < 0) continue;
    ++score.times;
    score.within_period += best <= 1.0;
    score.worst_periods = std::max(score.worst_periods, best);
  }
}

void compare(Score& score, const std::string& run, const Json& truth, const Conclusions& found,
             bool verbose) {
  ++score.runs;
  compare_times(score, truth, found);
  std::set<std::string> codes;
  for (const Json& cause : truth["causes"])
    if (cause.contains("code") && is_fault(cause["code"].get<std::string>()))
      codes.insert(cause["code"].get<std::string>());
  // Two causes of one incident share its rank: what counts for the reader is the incident.
  std::vector<std::vector<std::string>> ranks;
  for (std::size_t i = 0; i < found.findings.size(); ++i) {
    if (i == 0 || found.findings[i].incident != found.findings[i - 1].incident) ranks.emplace_back();
    ranks.back().push_back(found.findings[i].cause);
  }
  const std::string first = ranks.empty() ? "nothing" : ranks.front().front();
  if (codes.empty()) {
    ++score.healthy;
    score.healthy_hours += to_seconds(found.end - found.start) / 3600;
    for (const Finding& finding : found.findings) {
      if (of_the_recording(finding.cause)) continue;
      ++score.false_alarms;
      fmt::print("  {}: false alarm {}: {}\n", run, finding.cause, finding.text);
    }
    return;
  }
  if (!ranks.empty()) ++score.rows[first].proposed_first;
  if (codes.count(first) > 0) ++score.rows[first].right_first;
  for (const std::string& code : codes) {
    Row& row = score.rows[code];
    ++row.there;
    row.first += first == code;
    for (std::size_t r = 0; r < ranks.size(); ++r) {
      if (std::find(ranks[r].begin(), ranks[r].end(), code) == ranks[r].end()) continue;
      ++row.anywhere;
      row.among_three += r < 3;
      break;
    }
    if (codes.count(first) == 0) ++score.taken_for[{code, first}];
    if (verbose && first != code) {
      fmt::print("  {}: {} was there, found:", run, code);
      for (const Finding& finding : found.findings) fmt::print(" {} ({:.0f})", finding.cause, finding.score);
      fmt::print("\n");
    }
  }
}

void print(const char* title, const Score& score) {
  fmt::print("\n{}: {} captures, {} of them healthy, {} not read\n", title, score.runs, score.healthy,
             score.not_read);
  fmt::print("{:28} {:>5} {:>7} {:>8} {:>9} {:>10}\n", "cause", "there", "first", "in 3", "anywhere",
             "precision");
  std::size_t there = 0, first = 0, three = 0;
  for (const auto& [code, row] : score.rows) {
    const auto pct = [](std::size_t part, std::size_t whole) {
      return whole > 0
                 ? fmt::format("{:.0f} %", 100.0 * static_cast<double>(part) / static_cast<double>(whole))
                 : "-";
    };
    fmt::print("{:28} {:>5} {:>7} {:>8} {:>9} {:>10}\n", code, row.there, pct(row.first, row.there),
               pct(row.among_three, row.there), pct(row.anywhere, row.there),
               pct(row.right_first, row.proposed_first));
    there += row.there;
    first += row.first;
    three += row.among_three;
  }
  if (there > 0)
    fmt::print("first: {:.1f} %, among the first three: {:.1f} % of {}\n",
               100.0 * static_cast<double>(first) / static_cast<double>(there),
               100.0 * static_cast<double>(three) / static_cast<double>(there), there);
  for (const auto& [pair, count] : score.taken_for)
    fmt::print("  taken for another: {} for {}: {}\n", pair.first, pair.second, count);
  if (score.healthy_hours > 0)
    fmt::print("false alarms: {} in {:.2f} healthy hours\n", score.false_alarms, score.healthy_hours);
  if (score.times > 0)
    fmt::print("begins of dropouts: {} of {} within one period of the truth, worst {:.1f} periods\n",
               score.within_period, score.times, score.worst_periods);
}

struct Run {
  std::string name;
  fs::path capture, truth, roster;
};

}  // namespace

int main(int argc, char** argv) {
  std::string stage = "tramlog-stage", captures, keep, weights_file;
  unsigned long first = 1, count = 0;
  bool verbose = false;
  for (int i = 1; i < argc; ++i) {
    const std::string option = argv[i];
    const auto value = [&] { return i + 1 < argc ? std::string(argv[++i]) : std::string(); };
    if (option == "--stage")
      stage = value();
    else if (option == "--captures")
      captures = value();
    else if (option == "--keep")
      keep = value();
    else if (option == "--weights")
      weights_file = value();
    else if (option == "--first")
      first = std::strtoul(value().c_str(), nullptr, 10);
    else if (option == "--count")
      count = std::strtoul(value().c_str(), nullptr, 10);
    else if (option == "--verbose")
      verbose = true;
    else {
      fmt::print(stderr, "score_causes: what is {}?\n", option);
      return 2;
    }
  }
  CauseWeights weights = CauseWeights::built_in();
  if (!weights_file.empty()) {
    auto parsed = CauseWeights::parse(text_of(weights_file), weights_file);
    if (!parsed) {
      fmt::print(stderr, "score_causes: {}: {}\n", parsed.error().where, parsed.error().what);
      return 2;
    }
    weights = std::move(*parsed);
  }

  std::vector<Run> runs;
  if (!captures.empty())
    for (const auto& folder : fs::directory_iterator(captures))
      if (fs::exists(folder.path() / "truth.json") && fs::exists(folder.path() / "capture.pcapng.zst"))
        runs.push_back({folder.path().filename().string(), folder.path() / "capture.pcapng.zst",
                        folder.path() / "truth.json", folder.path() / "roster.toml"});
  std::sort(runs.begin(), runs.end(), [](const Run& a, const Run& b) { return a.name < b.name; });
  const fs::path folder = keep.empty()
                              ? fs::temp_directory_path() /
                                    fmt::format("score-causes-{}", static_cast<long long>(std::time(nullptr)))
                              : fs::path(keep);
  if (count > 0) fs::create_directories(folder);

  Score with, without;
  const auto score_one = [&](const Run& run) {
    const Json truth = Json::parse(text_of(run.truth), nullptr, false);
    if (truth.is_discarded() || !truth.contains("causes")) return;
    std::optional<Roster> roster;
    if (fs::exists(run.roster))
      if (auto parsed = parse_roster(text_of(run.roster), run.roster.string())) roster = std::move(*parsed);
    for (Score* score : {&with, &without}) {
      const auto found = examine(run.capture.string(), score == &with ? roster : std::nullopt, weights);
      if (found)
        compare(*score, run.name + (score == &with ? " (roster)" : ""), truth, *found, verbose);
      else
        ++score->not_read;
    }
  };
  for (const Run& run : runs) score_one(run);
  for (unsigned long seed = first; seed < first + count; ++seed) {
    const Run run{fmt::format("seed {}", seed), folder / fmt::format("{}.pcapng.zst", seed),
                  folder / fmt::format("{}.json", seed), folder / fmt::format("{}.toml", seed)};
    const std::string command =
        fmt::format("'{}' --draw {} -o '{}' --truth '{}' --roster '{}' > /dev/null", stage, seed,
                    run.capture.string(), run.truth.string(), run.roster.string());
    if (std::system(command.c_str()) != 0) {
      fmt::print(stderr, "score_causes: this failed: {}\n", command);
      return 2;
    }
    score_one(run);
    if (keep.empty())
      for (const fs::path& file : {run.capture, run.truth, run.roster}) fs::remove(file);
  }
  if (keep.empty() && count > 0) fs::remove(folder);
  print("With roster", with);
  print("Without roster", without);
  return with.runs > 0 ? 0 : 1;
}
