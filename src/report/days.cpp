#include "report/days.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "exam/damage_words.hpp"
#include "exam/words.hpp"
#include "report/code_words.hpp"
#include "report/findings_page.hpp"
#include "report/first_step.hpp"

namespace tramlog {
namespace {

enum Weight : unsigned { kOther, kTroubleCode, kCause, kDropouts, kAbsent };

// What a controller is called on every day alike: not by its address.
std::string lasting_name(const Conclusions& all, std::size_t controller) {
  const ControllerRecord& c = all.controllers[controller];
  return c.label.empty() ? fmt::format("{} (NAME {})", function_term(c.name), c.name.hex()) : c.label;
}

std::string lasting_names(const Conclusions& all, const std::vector<std::size_t>& controllers) {
  constexpr std::size_t kNamed = 4;
  std::vector<std::string> names;
  for (const std::size_t c : controllers) names.push_back(lasting_name(all, c));
  std::sort(names.begin(), names.end());
  std::string words;
  for (std::size_t i = 0; i < names.size() && i < kNamed; ++i) words += (i > 0 ? ", " : "") + names[i];
  if (names.size() > kNamed) words += fmt::format(" and {} more", names.size() - kNamed);
  return words;
}

class Gather {
 public:
  explicit Gather(DayRecord& day) : day_(day) {}

  void add(DayTrouble trouble) {
    const auto [known, is_new] = places_.try_emplace(trouble.key, day_.troubles.size());
    if (!is_new) {
      if (known->second >= day_.troubles.size()) return;
      DayTrouble& same = day_.troubles[known->second];
      same.count += trouble.count;
      same.first = std::min(same.first, trouble.first);
      same.last = std::max(same.last, trouble.last);
    } else if (day_.troubles.size() < kDayTroubles) {
      day_.troubles.push_back(std::move(trouble));
    }
  }

 private:
  DayRecord& day_;
  std::map<std::string, std::size_t> places_;
};

void gather_controllers(Gather& gather, const Conclusions& all) {
  if (all.rollcall)
    for (const RollcallEntry& entry : all.rollcall->entries) {
      if (!entry.required ||
          (entry.state != EntryState::missing && entry.state != EntryState::wrong_software))
        continue;
      const std::string words = fmt::format("{}: {}", entry.label, state_code(entry.state));
      gather.add({"entry|" + words, words, entry.detail, kAbsent, 1, all.start, all.start});
    }
  for (const Dropout& d : all.dropouts) {
    if (d.kind != DropoutKind::controller) continue;
    const std::string who =
        d.controller ? lasting_name(all, *d.controller) : voice_words(all, d.controller, d.address);
    gather.add({"dropout|" + who, who + ": dropouts",
                fmt::format("last heard {}, silent for {}", mark_words(d.start),
                            format_span(d.judged_until - d.start.time)),
                kDropouts, 1, d.start.time, d.start.time});
  }
}

void gather_causes(Gather& gather, const Conclusions& all) {
  for (const Finding& finding : all.findings) {
    const std::string who = lasting_names(all, finding.controllers);
    gather.add({"cause|" + finding.cause + "|" + who, code_heading(finding.cause, who), finding.text, kCause,
                1, finding.start, finding.start});
  }
  for (const std::size_t f : loose_faults(all)) {
    const Fault& fault = all.faults[f];
    if (fault.dtc) continue;  // told by the code
    const std::string who = lasting_names(all, fault.controllers);
    gather.add({"fault|" + fault.code + "|" + who, code_heading(fault.code, who), fault.text, kOther, 1,
                fault.start, fault.start});
  }
  for (const DtcRecord& d : all.dtcs) {
    if (d.previously_active_only) continue;
    const std::string who =
        d.controller ? lasting_name(all, *d.controller) : voice_words(all, d.controller, d.address);
    const std::string words = fmt::format("{}: SPN {}{}, FMI {} ({})", who, d.dtc.spn,
                                          d.spn_text ? " (" + *d.spn_text + ")" : "", d.dtc.fmi, d.fmi_text);
    gather.add({"code|" + words, words, "", kTroubleCode, std::max<std::size_t>(d.activations, 1),
                d.first_active.time, d.last_active.time});
  }
}

void main_of(DayRecord& day, const Conclusions& all) {
  if (!all.findings.empty()) {
    day.main = all.findings.front().text;
    if (!all.findings.front().next_steps.empty()) day.step = all.findings.front().next_steps.front();
  } else if (const auto loose = loose_faults(all); !loose.empty()) {
    const Fault& fault = all.faults[loose.front()];
    day.main = fault.text;
    if (const char* step = first_step(fault.code)) day.step = step;
  } else if (all.rollcall) {
    for (const RollcallEntry& entry : all.rollcall->entries)
      if (entry.required && entry.state == EntryState::missing && day.main.empty())
        day.main = entry.label + " is missing.";
  }
}

}  // namespace

DayRecord day_record(const Report& report, const std::string& date) {
  const Conclusions& all = report.found;
  DayRecord day;
  day.date = date;
  day.start = all.start;
  day.end = all.end;
  if (all.rollcall) day.machine = all.rollcall->machine;
  const std::vector<std::string>& names = report.names.empty() ? report.files : report.names;
  day.capture_count = names.size();
  day.captures.assign(names.begin(),
                      names.begin() + static_cast<std::ptrdiff_t>(std::min(names.size(), kDayCaptures)));
  day.frames = all.frames;
  day.hours = all.machine;
  day.hours.place.reset();  // an overview tells none
  day.blind = blind_total(all);
  day.controllers = all.controllers.size();
  TimeNs until = all.start;
  for (const StoryLine& line : all.story) {  // by time
    if (line.phase != Phase::work) continue;
    const TimeNs from = std::max(line.time, until), to = std::min(line.until.value_or(all.end), all.end);
    if (to <= from) continue;
    day.worked += to - from;
    until = to;
  }
  for (const Dropout& d : all.dropouts) day.dropouts += d.kind == DropoutKind::controller;
  for (const Fault& fault : all.faults) {
    day.faults += fault.severity == Severity::fault;
    day.warnings += fault.severity == Severity::warning;
  }
  for (const RecordedNote& note : all.recorder.notes) day.notes += note.note.kind == RecorderNote::Kind::mark;
  day.wrong = something_wrong(all);
  day.damaged = report.read_error || anything_lost(all);
  main_of(day, all);
  Gather gather(day);
  gather_controllers(gather, all);
  gather_causes(gather, all);
  return day;
}

std::vector<AcrossDays> across_days(const DaysReport& report, std::size_t* not_listed) {
  std::map<std::string, AcrossDays> by_key;
  for (const DayRecord& day : report.days)
    for (const DayTrouble& trouble : day.troubles) {
      const auto [place, is_new] = by_key.try_emplace(trouble.key);
      AcrossDays& one = place->second;
      if (is_new) one.first = trouble.first;
      one.words = trouble.words;
      one.latest = trouble.latest;
      one.weight = trouble.weight;
      one.dates.push_back(day.date);
      one.count += trouble.count;
      one.last = trouble.last;
    }
  std::vector<AcrossDays> all;
  for (auto& [key, one] : by_key) all.push_back(std::move(one));
  std::stable_sort(all.begin(), all.end(), [](const AcrossDays& a, const AcrossDays& b) {
    if (a.dates.back() != b.dates.back()) return a.dates.back() > b.dates.back();
    return std::tuple(b.weight, b.dates.size(), b.count) < std::tuple(a.weight, a.dates.size(), a.count);
  });
  if (not_listed != nullptr) *not_listed = all.size() > kAcross ? all.size() - kAcross : 0;
  if (all.size() > kAcross) all.resize(kAcross);
  return all;
}

}  // namespace tramlog
