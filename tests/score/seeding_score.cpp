// Plays random drills with tramlog-stage's simulation, examines the captures, and holds the seeding check-list against the simulation's truth.
//
//   score_seeding [--scenario FILE] [--first SEED] [--count N] [--keep FOLDER] [--verbose]
//
// Prints how far apart truth and report are for each kind of figure, how many injected faults were found, and every line that needs attention
// without a fault behind it. Status 1 if a bar is missed.
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
#include <string>
#include <vector>

#include "exam/examiner.hpp"
#include "io/capture_reader.hpp"
#include "stage/play.hpp"

namespace {

using Json = nlohmann::json;
using namespace tramlog;

/// Bars against the truth. Dead time and rise time: one sample period of the value on the bus.
constexpr double kSettledErrorPct = 0.5;
constexpr double kTotalPct = 0.1;

struct Kind {
  std::size_t compared = 0, within = 0, missing = 0;
  double worst = 0;  // error / bar
  double sum = 0;
  void add(double error, double bar) {
    ++compared;
    const double share = std::abs(error) / bar;
    within += share <= 1.0;
    worst = std::max(worst, share);
    sum += share;
  }
};

struct Score {
  std::map<std::string, Kind> kinds;
  std::size_t runs = 0, healthy_runs = 0, faults = 0, found = 0, false_lines = 0;
  std::vector<std::string> complaints;
  bool verbose = false;
  void complain(std::string text) { complaints.push_back(std::move(text)); }
};

/// "2026-04-07T06:12:00.000000000Z"; -1 if it is none.
double seconds_of(const Json& time, TimeNs start) {
  std::tm parts{};
  long nanoseconds = 0;
  const std::string text = time.get<std::string>();
  if (std::sscanf(text.c_str(), "%d-%d-%dT%d:%d:%d.%9ldZ", &parts.tm_year, &parts.tm_mon, &parts.tm_mday, &parts.tm_hour,
                  &parts.tm_min, &parts.tm_sec, &nanoseconds) != 7)
    return -1;
  parts.tm_year -= 1900;
  parts.tm_mon -= 1;
  return to_seconds(timegm(&parts) * kSecond + nanoseconds - start);
}

std::optional<Conclusions> examine(const std::string& capture) {
  auto source = CaptureSource::open({capture});
  if (!source) return std::nullopt;
  Examiner examiner;
  for (;;) {
    const std::span<const Event> events = source->read();
    if (events.empty()) break;
    examiner.take(events);
  }
  return examiner.conclude();
}

void compare_meter(Score& score, const std::string& run, const Json& meter, const ImplementRecord& implement,
                   TimeNs start) {
  const auto pair = std::find_if(implement.pairs.begin(), implement.pairs.end(), [&](const PairRecord& p) {
    return p.element == meter["element"] && p.actual_ddi == meter["actual_ddi"];
  });
  if (pair == implement.pairs.end()) {
    ++score.kinds["meter"].missing;
    score.complain(fmt::format("{}: no pair for element {}", run, meter["element"].dump()));
    return;
  }
  const double period = meter["sample_period_s"].get<double>();
  for (const Json& step : meter["steps"]) {
    if (!step.value("answered", true) || step["dead_time_s"].is_null()) continue;
    const double at = seconds_of(step["at"], start);
    const auto told = std::find_if(pair->steps.begin(), pair->steps.end(), [&](const StepRecord& s) {
      return std::abs(to_seconds(s.at.time - start) - at) < 0.3;
    });
    if (told == pair->steps.end()) {
      ++score.kinds["step"].missing;
      if (score.verbose) score.complain(fmt::format("{}: step at {:.2f} s not told", run, at));
      continue;
    }
    if (!told->complete) {
      ++score.kinds["step"].missing;
      if (score.verbose) score.complain(fmt::format("{}: step at {:.2f} s not complete", run, at));
      continue;
    }
    ++score.kinds["step"].compared;
    ++score.kinds["step"].within;
    const auto compare = [&](const char* kind, const Json& truth, const std::optional<double>& value, double bar) {
      if (truth.is_null()) return;
      if (!value) {
        ++score.kinds[kind].missing;
        return;
      }
      score.kinds[kind].add(*value - truth.get<double>(), bar);
      if (std::abs(*value - truth.get<double>()) > bar)
        score.complain(fmt::format("{}: {} of element {} at {:.2f} s: {:.3f}, truth {:.3f} (bar {:.3f})", run, kind,
                                   pair->element, at, *value, truth.get<double>(), bar));
    };
    compare("dead time", step["dead_time_s"], told->dead_time_s, period);
    compare("rise time", step["rise_time_s"], told->rise_time_s, period);
  }
  if (!meter["settled_error_pct"].is_null()) {
    if (!pair->settled_error_pct) {
      ++score.kinds["settled error"].missing;
    } else {
      const double error = *pair->settled_error_pct - meter["settled_error_pct"].get<double>();
      score.kinds["settled error"].add(error, kSettledErrorPct);
      if (std::abs(error) > kSettledErrorPct)
        score.complain(fmt::format("{}: settled error of element {}: {:.3f} %, truth {:.3f} %", run, pair->element,
                                   *pair->settled_error_pct, meter["settled_error_pct"].get<double>()));
    }
  }
  if (!meter["total_raw"].is_null()) {
    const auto total = std::find_if(implement.totals.begin(), implement.totals.end(), [&](const TotalRecord& t) {
      return t.element == meter["element"] && t.ddi == meter["total_ddi"];
    });
    if (total == implement.totals.end()) {
      ++score.kinds["total"].missing;
      return;
    }
    const double sent = meter["total_sent_raw"].is_null() ? 0 : meter["total_sent_raw"].get<double>();
    if (sent > 0) score.kinds["total reported"].add(static_cast<double>(total->last_raw) / sent - 1, kTotalPct / 100);
    if (total->integrated && total->reported && *total->reported > 0) {
      const double scale = static_cast<double>(total->last_raw - total->first_raw) / *total->reported;
      const double grown = static_cast<double>(total->last_raw - total->first_raw);
      score.kinds["total integrated (1 %)"].add(*total->integrated * scale / grown - 1, 0.01);
    }
  }
}

double median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  const std::size_t n = values.size();
  return n % 2 == 1 ? values[n / 2] : (values[n / 2 - 1] + values[n / 2]) / 2;
}

void compare_section(Score& score, const std::string& run, const Json& section, const ImplementRecord& implement) {
  const auto told = std::find_if(implement.sections.begin(), implement.sections.end(),
                                 [&](const SectionRecord& s) { return s.section == section["section"]; });
  if (told == implement.sections.end()) {
    ++score.kinds["section"].missing;
    return;
  }
  const double period = section["message_period_s"].get<double>();
  const auto compare = [&](const char* kind, const Json& delays, const SectionRecord::Delays& ours) {
    if (delays.empty()) return;
    std::vector<double> truth = delays.get<std::vector<double>>();
    if (ours.count == 0 || !ours.median_s) {
      ++score.kinds[kind].missing;
      if (score.verbose) score.complain(fmt::format("{}: {} of section {}: not measured", run, kind, told->section));
      return;
    }
    const double error = *ours.median_s - median(truth);
    score.kinds[kind].add(error, period);
    if (std::abs(error) > period)
      score.complain(fmt::format("{}: {} of section {}: {:.3f} s (n {}), truth {:.3f} s (n {}), bar {:.3f}", run, kind,
                                 told->section, *ours.median_s, ours.count, median(truth), truth.size(), period));
  };
  compare("on delay", section["on_delays_s"], told->on);
  compare("off delay", section["off_delays_s"], told->off);
}

std::vector<const CheckLine*> attention_lines(const Conclusions& all) {
  std::vector<const CheckLine*> lines;
  for (const ImplementRecord& implement : all.seeding.implements)
    for (const CheckLine& line : implement.lines)
      if (line.verdict == Verdict::attention) lines.push_back(&line);
  for (const CheckLine& line : all.seeding.lines)
    if (line.verdict == Verdict::attention) lines.push_back(&line);
  return lines;
}

void compare_run(Score& score, const std::string& run, const Json& truth, const Conclusions& all) {
  ++score.runs;
  if (!truth.contains("implements") || truth["implements"].empty()) {
    score.complain(run + ": the truth holds no implement");
    return;
  }
  const Json& real = truth["implements"][0];
  const auto lines = attention_lines(all);
  const std::string name = real["name"].get<std::string>();
  const auto implement =
      std::find_if(all.seeding.implements.begin(), all.seeding.implements.end(), [&](const ImplementRecord& i) {
        return i.client != kNobody && all.controllers[static_cast<std::size_t>(i.client)].name.hex() == name;
      });
  if (implement == all.seeding.implements.end()) {
    score.complain(run + ": the implement is not in the report");
    return;
  }
  for (const Json& fault : real["faults"]) {
    if (fault["code"].is_null()) continue;
    ++score.faults;
    const std::string code = fault["code"].get<std::string>();
    const bool found =
        std::any_of(lines.begin(), lines.end(), [&](const CheckLine* line) { return line->code == code; });
    score.found += found;
    if (!found)
      score.complain(fmt::format("{}: fault {} not found: no attention on {}", run, fault["what"].dump(), code));
  }
  if (real["healthy"].get<bool>()) {
    ++score.healthy_runs;
    for (const CheckLine* line : lines) {
      ++score.false_lines;
      score.complain(fmt::format("{}: healthy, but {}: {}: {}", run, line->code, line->subject, line->text));
    }
  }
  const bool measured = real["healthy"].get<bool>();
  for (const Json& meter : real["meters"])
    if (measured || score.verbose) compare_meter(score, run, meter, *implement, all.start);
  if (measured || score.verbose)
    for (const Json& section : real["sections"]) compare_section(score, run, section, *implement);
}

}  // namespace

int main(int argc, char** argv) {
  std::vector<std::string> scenarios;
  unsigned first = 1, count = 100;
  std::string keep;
  Score score;
  for (int i = 1; i < argc; ++i) {
    const std::string option = argv[i];
    const bool more = i + 1 < argc;
    if (option == "--scenario" && more) scenarios.push_back(argv[++i]);
    else if (option == "--first" && more) first = static_cast<unsigned>(std::atoi(argv[++i]));
    else if (option == "--count" && more) count = static_cast<unsigned>(std::atoi(argv[++i]));
    else if (option == "--keep" && more) keep = argv[++i];
    else if (option == "--verbose") score.verbose = true;
    else return fmt::print(stderr, "score_seeding: unknown option {}\n", option), 2;
  }
  if (scenarios.empty())
    scenarios = {TRAMLOG_SOURCE_DIR "/captures/seeding-random-healthy/scenario.toml",
                 TRAMLOG_SOURCE_DIR "/captures/seeding-random/scenario.toml"};
  namespace fs = std::filesystem;
  const fs::path folder = keep.empty() ? fs::temp_directory_path() / fmt::format("score-{}", std::rand()) : fs::path(keep);
  fs::create_directories(folder);
  for (const std::string& scenario : scenarios)
    for (unsigned seed = first; seed < first + count; ++seed) {
      const std::string run = fmt::format("{} seed {}", fs::path(scenario).parent_path().filename().string(), seed);
      const std::string base = (folder / fmt::format("{}-{}", fs::path(scenario).parent_path().filename().string(), seed)).string();
      stage::PlayOptions options;
      options.seed = seed;
      const auto played = stage::play_file(scenario, base + ".pcapng.zst", base + ".json", options);
      if (!played) {
        score.complain(run + ": cannot be played: " + played.error().what + " " + played.error().where);
        continue;
      }
      const auto all = examine(base + ".pcapng.zst");
      std::ifstream in(base + ".json");
      const Json truth = Json::parse(in, nullptr, false);
      if (!all || truth.is_discarded()) score.complain(run + ": capture or truth cannot be read");
      else compare_run(score, run, truth, *all);
      if (keep.empty()) {
        fs::remove(base + ".pcapng.zst");
        fs::remove(base + ".json");
      }
    }
  if (keep.empty()) fs::remove_all(folder);
  bool fine = score.found == score.faults && score.false_lines == 0;
  for (const auto& [kind, figures] : score.kinds) {
    fmt::print("{:24} {:5} compared, {:5} within the bar, {:4} missing; mean {:.2f}, worst {:.2f} of the bar\n", kind,
               figures.compared, figures.within, figures.missing,
               figures.compared > 0 ? figures.sum / static_cast<double>(figures.compared) : 0.0, figures.worst);
    fine = fine && figures.within == figures.compared;
  }
  fmt::print("{} runs, {} of them healthy with {} lines that need attention; {} of {} faults found\n", score.runs,
             score.healthy_runs, score.false_lines, score.found, score.faults);
  for (const std::string& complaint : score.complaints) fmt::print("  {}\n", complaint);
  if (score.runs == 0 || (score.kinds["dead time"].compared == 0 && score.healthy_runs > 0)) fine = false;
  return fine ? 0 : 1;
}
