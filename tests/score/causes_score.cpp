// Holds the causes against the truth of the simulation, which the rules never read.
//
//   score_causes [--stage PROGRAM] [--first SEED] [--count N] [--captures FOLDER] [--cause CODE] [--weights
//   FILE] [--keep FOLDER] [--need FIRST,FIRST_WITHOUT,RECALL] [--verbose]
//
// --count N draws N scenarios with `PROGRAM --draw SEED`; --captures takes the capture.pcapng.zst, truth.json
// and roster.toml of every folder below FOLDER instead. Each is examined with and without its roster.
// Printed: recall and precision of each cause, who was taken for whom, how often the right cause came first
// and among the first three, false alarms per healthy hour, and the errors of dropout times against the
// fastest period of the controller. Status 1 if nothing could be scored, or less than --need (percent; no
// false alarm, no dropout told more than a period off).
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

struct FaultRow {
  std::size_t there = 0, found = 0, invented = 0;
};

struct Score {
  bool verbose = false;
  std::map<std::string, FaultRow> faults;
  std::size_t false_faults = 0;
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

template <class Take>
std::optional<Conclusions> examine(const std::string& capture, const std::optional<Roster>& roster,
                                   const CauseWeights& weights, Take take) {
  auto source = CaptureSource::open({capture});
  if (!source) return std::nullopt;
  Examiner examiner;
  for (;;) {
    const std::span<const Event> events = source->read();
    if (events.empty()) break;
    examiner.take(events);
    for (const Event& event : events) take(event);
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

// How fast each address speaks, by the frames themselves: the shortest median distance of one of its
// messages. The examiner's own idea of it is what is scored.
class Paces {
 public:
  void take(const Event& event) {
    if (event.kind != EventKind::frame || (event.flags & kExtendedId) == 0) return;
    const std::uint32_t id = event.id & 0x1FFF'FFFF;
    auto& times = times_[{event.bus, id}];
    if (times.size() < 400) times.push_back(event.time);
  }
  /// ns; 0: nothing regular.
  SpanNs fastest(BusIndex bus, Address address) const {
    SpanNs fastest = 0;
    for (const auto& [key, times] : times_) {
      if (key.first != bus || (key.second & 0xFF) != address || times.size() < 8) continue;
      std::vector<SpanNs> gaps;
      for (std::size_t i = 1; i < times.size(); ++i) gaps.push_back(times[i] - times[i - 1]);
      std::nth_element(gaps.begin(), gaps.begin() + static_cast<std::ptrdiff_t>(gaps.size() / 2), gaps.end());
      const SpanNs gap = gaps[gaps.size() / 2];
      if (gap >= 5 * kMillisecond && (fastest == 0 || gap < fastest)) fastest = gap;
    }
    return fastest;
  }

 private:
  std::map<std::pair<BusIndex, std::uint32_t>, std::vector<TimeNs>> times_;
};

bool has_fault(const Conclusions& found, std::initializer_list<const char*> codes) {
  return std::any_of(found.faults.begin(), found.faults.end(), [&](const Fault& fault) {
    return std::any_of(codes.begin(), codes.end(), [&](const char* code) { return fault.code == code; });
  });
}

void count(Score& score, const std::string& run, const std::string& what, bool found,
           const std::string& detail) {
  FaultRow& row = score.faults[what];
  ++row.there;
  row.found += found;
  if (!found && score.verbose) fmt::print("  {}: {} not found: {}\n", run, what, detail);
}

// Every silence of the truth that is long enough to be one, told as a dropout or as a restart; its time by
// the frames.
void compare_dropouts(Score& score, const std::string& run, const Json& truth, const Conclusions& found,
                      const Paces& paces, bool crowded_bus) {
  std::vector<bool> used(found.dropouts.size(), false);
  for (const Json& was : truth["dropouts"]) {
    const auto start = time_of(was["start"]);
    const auto end = was["end"].is_null() ? std::nullopt : time_of(was["end"]);
    const std::string name = was["controller"].is_string() ? was["controller"].get<std::string>() : "";
    if (!start || name.empty()) continue;
    const TimeNs until = end.value_or(found.end);
    const SpanNs period = paces.fastest(0, was["address"].get<Address>());
    std::optional<std::size_t> best;
    for (std::size_t i = 0; i < found.dropouts.size(); ++i) {
      const Dropout& d = found.dropouts[i];
      if (!d.controller || found.controllers[*d.controller].name.hex() != name) continue;
      if (d.start.time >= until || d.judged_until <= *start) continue;
      used[i] = true;
      if (!best || std::abs(d.start.time - *start) < std::abs(found.dropouts[*best].start.time - *start))
        best = i;
    }
    if (!was["regular"].get<bool>() || was["overlaps_blind"].get<bool>() || period == 0) continue;
    const bool reclaimed = was["reclaimed"].get<bool>();
    // Shorter ones are no silences (DEVELOPERS.md, "How silence is judged"); a restart may leave less.
    if (!reclaimed && until - *start <= std::max<SpanNs>(kSecond, 5 * period) * 11 / 10) continue;
    const bool restarted =
        reclaimed && std::any_of(found.faults.begin(), found.faults.end(), [&](const Fault& f) {
          return (f.code == "controller.restarted" || f.code == "controller.restart-series") &&
                 !f.controllers.empty() && found.controllers[f.controllers.front()].name.hex() == name &&
                 f.start <= until + 3 * kSecond && f.end.value_or(f.start) >= *start - kSecond;
        });
    count(score, run, reclaimed ? "dropout or restart, new claim" : "dropout, no new claim",
          best || restarted, fmt::format("{} at {}", was["label"].dump(), was["start"].dump()));
    if (!best) continue;
    const double periods =
        std::abs(to_seconds(found.dropouts[*best].start.time - *start)) / to_seconds(period);
    ++score.times;
    score.within_period += periods <= 1.0;
    score.worst_periods = std::max(score.worst_periods, periods);
    if (periods > 1.0 && score.verbose)
      fmt::print("  {}: dropout of {} at {} is told {:.1f} periods off\n", run, was["label"].dump(),
                 was["start"].dump(), periods);
  }
  // On a bus that is full, or spoiled, who waits looks gone: that is told, and no false alarm.
  for (std::size_t i = 0; i < used.size(); ++i) {
    // A clock that was put forward cannot be told from a recorder that stood still.
    const bool clock = !truth["clock_steps_s"].empty() && found.dropouts[i].kind == DropoutKind::bus_silent;
    if (used[i] || crowded_bus || clock || found.dropouts[i].kind == DropoutKind::power_down) continue;
    const std::string what =
        found.dropouts[i].reclaimed ? "dropout or restart, new claim" : "dropout, no new claim";
    ++score.faults[what].invented;
    if (score.verbose)
      fmt::print("  {}: dropout that never was: {} at {}\n", run, found.dropouts[i].address,
                 format_date_time(found.dropouts[i].start.time));
  }
}

struct Sign {
  const char* cause;
  std::initializer_list<const char*> faults;
};

// By which fault each cause shows, where no silence does.
const Sign kSigns[] = {
    {"bus.overload", {"bus.load-high"}},
    {"unit.floods", {"bus.one-talker-floods"}},
    {"bus.bit-rate", {"bus.bit-rate-suspect", "recorder.only-errors"}},
    {"wiring.termination", {"bus.error-frames", "bus.errors-with-load"}},
    {"network.address-conflict", {"network.address-contest", "network.cannot-claim"}},
    {"network.equal-units", {"network.duplicate-name"}},
    {"source.speed",
     {"speed.source-lost", "speed.frozen", "position.lost", "position.frozen", "speed.sources-differ"}},
    {"recorder.blind", {"recorder.blind"}},
    {"recorder.connection", {"bus.silent"}},
    {"bus.power-or-trunk", {"bus.silent"}},
    {"capture.incomplete", {"capture.damaged", "network.unclaimed"}},
    {"connector.hitch", {"bus.error-frames"}},
};

void compare_faults(Score& score, const std::string& run, const Json& truth, const Conclusions& found,
                    const Paces& paces, bool with_roster) {
  bool crowded = false;
  for (const Json& cause : truth["causes"]) {
    const auto code = cause["code"].get<std::string>();
    crowded = crowded || code == "bus.overload" || code == "unit.floods" || code == "bus.bit-rate";
    for (const Sign& sign : kSigns)
      if (code == sign.cause) count(score, run, *sign.faults.begin(), has_fault(found, sign.faults), code);
    const auto entry_is = [&](std::initializer_list<EntryState> states) {
      return std::any_of(found.rollcall->entries.begin(), found.rollcall->entries.end(),
                         [&](const RollcallEntry& e) {
                           return std::find(states.begin(), states.end(), e.state) != states.end() &&
                                  std::any_of(cause["controllers"].begin(), cause["controllers"].end(),
                                              [&](const Json& label) { return label == e.label; });
                         });
    };
    if (with_roster && found.rollcall && code == "controller.not-on-bus")
      count(score, run, "missing", entry_is({EntryState::missing}), code);
    if (with_roster && found.rollcall && code == "software.mismatch")
      count(score, run, "wrong software",
            entry_is({EntryState::wrong_software}) || has_fault(found, {"software.differs-among-equals"}),
            code);
  }
  compare_dropouts(score, run, truth, found, paces, crowded);
  const bool whole = truth["blind"].empty() && found.damage.empty() && !crowded;
  std::set<std::string> told;
  for (const DtcRecord& dtc : found.dtcs)
    if (dtc.controller)
      told.insert(fmt::format("{} {} {}", found.controllers[*dtc.controller].name.hex(), dtc.dtc.spn,
                              unsigned{dtc.dtc.fmi}));
  bool nameless = !found.unclaimed.empty();
  if (whole && !nameless) {
    for (const Json& dtc : truth["dtcs"]) {
      const std::string key = fmt::format("{} {} {}", dtc["controller"].get<std::string>(),
                                          dtc["spn"].get<unsigned>(), dtc["fmi"].get<unsigned>());
      count(score, run, "diagnostics.trouble-code", told.erase(key) > 0, key);
    }
    score.faults["diagnostics.trouble-code"].invented += told.size();
  }
  for (const Json& transfer : truth["transfers"])
    if (const auto outcome = transfer["outcome"].get<std::string>();
        whole && outcome != "complete" && outcome != "unfinished" && transfer["frames_unheard"] == 0)
      count(score, run, "transfer.failed", has_fault(found, {"transfer.failed", "transfer.series"}),
            transfer.dump());
}

// Of a healthy machine: faults that neither a staged trouble code nor a step of the recorder's clock accounts
// for.
void count_false_faults(Score& score, const std::string& run, const Json& truth, const Conclusions& found) {
  const bool clock = !truth["clock_steps_s"].empty() || !truth["blind"].empty();
  for (const Fault& fault : found.faults) {
    if (fault.severity == Severity::note) continue;
    const bool dtc = fault.code == "diagnostics.trouble-code" && !truth["dtcs"].empty();
    const bool by_clock = clock && (fault.code.rfind("recorder.", 0) == 0 || fault.code == "bus.silent");
    if (dtc || by_clock) continue;
    ++score.false_faults;
    fmt::print("  {}: false fault {}: {}\n", run, fault.code, fault.text);
  }
}

void compare(Score& score, const std::string& run, const Json& truth, const Conclusions& found,
             const Paces& paces, bool with_roster, bool verbose) {
  ++score.runs;
  score.verbose = verbose;
  compare_faults(score, run, truth, found, paces, with_roster);
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
    count_false_faults(score, run, truth, found);
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
  fmt::print("{:32} {:>6} {:>7} {:>8} {:>9}\n", "fault", "there", "found", "recall", "invented");
  std::size_t faults = 0, found = 0;
  for (const auto& [what, row] : score.faults) {
    fmt::print("{:32} {:>6} {:>7} {:>8} {:>9}\n", what, row.there, row.found,
               row.there > 0 ? fmt::format("{:.1f} %", 100.0 * static_cast<double>(row.found) /
                                                           static_cast<double>(row.there))
                             : "-",
               row.invented);
    faults += row.there;
    found += row.found;
  }
  if (faults > 0)
    fmt::print("recall of faults: {:.2f} % of {}\n",
               100.0 * static_cast<double>(found) / static_cast<double>(faults), faults);
  if (score.healthy_hours > 0)
    fmt::print("false alarms: {} findings and {} faults in {:.2f} healthy hours\n", score.false_alarms,
               score.false_faults, score.healthy_hours);
  if (score.times > 0)
    fmt::print("begins of dropouts: {} of {} within one period of the truth, worst {:.1f} periods\n",
               score.within_period, score.times, score.worst_periods);
}

// What --need asks for, percent.
struct Needs {
  double first = 0, first_without = 0, recall = 0;
};

bool holds(const char* title, const Score& score, double first, const Needs& needs) {
  std::size_t there = 0, right = 0, faults = 0, found = 0;
  for (const auto& [code, row] : score.rows) there += row.there, right += row.first;
  for (const auto& [what, row] : score.faults) faults += row.there, found += row.found;
  const auto share = [](std::size_t part, std::size_t whole) {
    return whole > 0 ? 100.0 * static_cast<double>(part) / static_cast<double>(whole) : 0;
  };
  const bool good = share(right, there) >= first && share(found, faults) >= needs.recall &&
                    score.false_alarms == 0 && score.false_faults == 0 && score.within_period == score.times;
  if (!good) fmt::print("{}: below what was asked for\n", title);
  return good;
}

struct Run {
  std::string name;
  fs::path capture, truth, roster;
};

}  // namespace

int main(int argc, char** argv) {
  std::string stage = "tramlog-stage", cause, captures, keep, weights_file;
  unsigned long first = 1, count = 0;
  bool verbose = false;
  Needs needs;
  for (int i = 1; i < argc; ++i) {
    const std::string option = argv[i];
    const auto value = [&] { return i + 1 < argc ? std::string(argv[++i]) : std::string(); };
    if (option == "--stage")
      stage = value();
    else if (option == "--captures")
      captures = value();
    else if (option == "--need") {
      if (std::sscanf(value().c_str(), "%lf,%lf,%lf", &needs.first, &needs.first_without, &needs.recall) !=
          3) {
        fmt::print(stderr, "score_causes: --need FIRST,FIRST_WITHOUT_ROSTER,RECALL in percent\n");
        return 2;
      }
    } else if (option == "--cause")
      cause = value();
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
    Paces paces;
    for (Score* score : {&with, &without}) {
      const bool first_time = score == &with;
      const auto found =
          examine(run.capture.string(), first_time ? roster : std::nullopt, weights, [&](const Event& event) {
            if (first_time) paces.take(event);
          });
      if (found)
        compare(*score, run.name + (first_time ? " (roster)" : ""), truth, *found, paces, first_time,
                verbose);
      else
        ++score->not_read;
    }
  };
  for (const Run& run : runs) score_one(run);
  for (unsigned long seed = first; seed < first + count; ++seed) {
    const Run run{fmt::format("seed {}", seed), folder / fmt::format("{}.pcapng.zst", seed),
                  folder / fmt::format("{}.json", seed), folder / fmt::format("{}.toml", seed)};
    const std::string command = fmt::format("'{}' --draw {}{} -o '{}' --truth '{}' --roster '{}' > /dev/null",
                                            stage, seed, cause.empty() ? "" : " --cause " + cause,
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
  if (with.runs == 0) return 1;
  return needs.first > 0 && !(holds("with roster", with, needs.first, needs) &
                              holds("without", without, needs.first_without, needs))
             ? 1
             : 0;
}
