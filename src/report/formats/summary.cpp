// For the body of an e-mail: the answer, since when, and what to do first, in less than a screen and a half.
// Every section has a limit of lines, so that the whole keeps below kLines whatever happened and whatever
// names are.
#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "exam/story.hpp"
#include "exam/words.hpp"
#include "report/answer_page.hpp"
#include "report/code_words.hpp"
#include "report/findings_page.hpp"
#include "report/first_step.hpp"
#include "report/format.hpp"
#include "report/head.hpp"
#include "report/page.hpp"
#include "report/seeding_page.hpp"
#include "report/sentences.hpp"
#include "report/text_limits.hpp"

namespace tramlog::formats {

extern const Format summary;

namespace {

// Lines with headings and the empty line before; together below 60. Head, answer and the first finding with
// its step stand in the first 24.
constexpr std::size_t kHead = 7, kAnswer = 10, kFindings = 20, kRoll = 7, kNotes = 5, kBlind = 5, kMore = 5;
static_assert(kHead + kAnswer + kFindings + kRoll + kNotes + kBlind + kMore < 60);

constexpr std::size_t kSteadyNotes = 3;  // notes told
constexpr std::size_t kRollNames = 6;
constexpr std::size_t kTop = 24;
constexpr std::size_t kTellLines = 3, kStepLines = 2;  // of a finding

void short_item(Page& page, const std::string& prefix, const std::string& text, std::size_t lines) {
  page.item(prefix, clipped_clauses(text, Page::kWidth - prefix.size(), lines));
}

// Whole lines up to the limit; the last one says that there was more.
std::string limited(std::string text, std::size_t lines) {
  std::size_t at = 0;
  for (std::size_t i = 0; i + 1 < lines; ++i) {
    at = text.find('\n', at);
    if (at == std::string::npos) return text;
    ++at;
  }
  const std::size_t last = text.find('\n', at);
  if (last == std::string::npos || last + 1 == text.size()) return text;
  return text.substr(0, at) + "  .. more in the full report.\n";
}

std::string day_and_second(TimeNs time) {
  return format_date_time(time).substr(0, 19);
}

std::string head(const Report& report, const char* what) {
  const Conclusions& all = report.found;
  Page page(false);
  short_item(page, "",
             all.rollcall && !all.rollcall->machine.empty()
                 ? fmt::format("{}: {}", what, all.rollcall->machine)
                 : what,
             1);
  std::string end = day_and_second(all.end);
  if (end.substr(0, 10) == day_and_second(all.start).substr(0, 10)) end = end.substr(11);
  short_item(
      page, "",
      fmt::format("{} to {} UTC ({}), {} on {}", day_and_second(all.start), end,
                  format_span(all.end - all.start), counted(all.frames, "frame", "frames"),
                  all.buses.size() == 1 ? all.buses[0].name : counted(all.buses.size(), "bus", "buses")),
      1);
  return page.take();
}

std::string head_rest(const Report& report, const FormatOptions& options) {
  Page page(false);
  for (const std::string& told :
       {hours_words(report.found.machine), place_words(report.found.machine, options)})
    if (!told.empty()) short_item(page, "", told, 1);
  if (const std::vector<std::string> parts = slice_words(report.found); !parts.empty())
    short_item(page, "Slice   ", parts.size() == 1 ? parts[0] : parts[0] + ", and more", 1);
  const std::vector<std::string>& captures = report.names.empty() ? report.files : report.names;
  if (!captures.empty())
    short_item(page, "Capture ",
               captures.size() == 1
                   ? captures[0]
                   : fmt::format("{} to {}, {} in all", captures.front(), captures.back(), captures.size()),
               1);
  return page.take();
}

std::size_t count_lines(const std::string& text) {
  return static_cast<std::size_t>(std::count(text.begin(), text.end(), '\n'));
}

std::string answer(const Report& report, std::size_t lines, bool with_findings = true) {
  Page page(false), damage(false);
  page.heading("ANSWER");
  for (const std::string& line : answer_lines(report, {" in all", true, true, with_findings})) {
    if (tells_of_damage(line))
      short_item(damage, "  * ", line, 3);
    else
      short_item(page, "  * ", line, line.starts_with(kWorthKnowing) ? 4 : 2);
  }
  // However much there is to tell: that not all could be read is told.
  const std::string kept = damage.take();
  return limited(page.take(), lines - count_lines(kept)) + kept;
}

bool is_fine(const RollcallEntry& entry) {
  return entry.state == EntryState::present || entry.state == EntryState::software_unknown ||
         (!entry.required && entry.state == EntryState::missing);
}

void told_and_step(Page& page, const std::string& prefix, TimeNs time, const std::string& text,
                   const std::string& step, std::size_t lines = kTellLines) {
  short_item(page, prefix, fmt::format("{}  {}", format_time_of_day(time).substr(0, 8), text), lines);
  if (!step.empty()) short_item(page, std::string(prefix.size(), ' ') + "First: ", step, kStepLines);
}

// Of those that have no room: what they are, and how often each came.
std::string counted_words(const std::map<std::string, std::size_t>& counts) {
  std::string words;
  for (const auto& [what, count] : counts)
    words += (words.empty() ? "" : ", ") + (count > 1 ? fmt::format("{} ({})", what, count) : what);
  return words;
}

// Who is not as the roster wants it although no finding and no fault speaks for it.
void entries_and_steps(Page& page, const Conclusions& all) {
  std::size_t told = 0;
  for (const RollcallEntry& entry : all.rollcall->entries) {
    if (is_fine(entry) || ++told > kMainIncidents) continue;
    const TimeNs since = entry.controller ? trouble_start(all, *entry.controller) : all.start;
    const bool silent = entry.state == EntryState::intermittent || entry.state == EntryState::lost;
    const bool replaced = entry.stand_in && *entry.stand_in < all.controllers.size();
    told_and_step(
        page, "  *  ", since,
        fmt::format("{} is {}{}.", entry.label, state_code(entry.state),
                    replaced ? "; its job is done by " + controller_words(all, *entry.stand_in) : ""),
        silent     ? first_step("controller.silent")
        : replaced ? "Was the unit replaced? Then learn the roster anew: tramlog roster learn."
                   : "Is the roster that of this machine and season? Then plug and supply of that unit.");
  }
}

// `above`: lines that stand before; the first finding and its step stay within the top.
std::string findings(const Conclusions& all, std::size_t above) {
  std::vector<std::size_t> loose = loose_faults(all);
  if (all.findings.empty() &&
      loose.empty())  // what only limits the report is told, too, if there is nothing else
    for (std::size_t f = 0; f < all.faults.size(); ++f)
      if (all.faults[f].severity != Severity::note) loose.push_back(f);
  const bool entries = all.findings.empty() && loose.empty() && !all.nothing_read() && all.rollcall &&
                       !std::all_of(all.rollcall->entries.begin(), all.rollcall->entries.end(), is_fine);
  if (all.findings.empty() && loose.empty() && !entries) return {};
  Page page(false);
  page.heading("MAIN FINDINGS, EACH WITH THE FIRST STEP");
  if (entries) entries_and_steps(page, all);
  std::size_t more = 0;
  const std::vector<std::size_t> ranks = main_findings(all, &more);
  // Where few have something to tell, they may tell it whole.
  constexpr std::size_t kHeading = 2, kRoom = kFindings - 5 - kHeading;
  const std::size_t items = std::clamp<std::size_t>(ranks.size() + loose.size(), 1, kMainIncidents);
  const std::size_t top = kTop - std::min(kTop, above + kHeading + kStepLines);
  const std::size_t lines = std::max(kTellLines, std::min(top, kRoom / items - kStepLines));
  std::string told = page.take();
  const auto tell = [&](const std::string& prefix, TimeNs time, const std::string& text,
                        const std::string& step) {
    Page one(false);
    const std::size_t used = count_lines(told) - std::min(count_lines(told), kHeading);
    const std::size_t left = kRoom - std::min(kRoom, used + kStepLines);
    told_and_step(one, prefix, time, text, step, std::clamp<std::size_t>(left, 1, lines));
    told += one.take();
  };
  for (const std::size_t rank : ranks) {
    const Finding& finding = all.findings[rank];
    tell(fmt::format("  {}. ", rank + 1), finding.start, finding_words(all, rank),
         finding.next_steps.empty() ? std::string() : finding.next_steps.front());
  }
  std::map<std::string, std::size_t> others;
  std::size_t shown = ranks.size();
  for (const std::size_t f : loose) {
    const Fault& fault = all.faults[f];
    const char* step = first_step(fault.code);
    if (++shown > kMainIncidents)
      ++others[code_words(fault.code)];
    else
      tell("  *  ", fault.start, fault.text, step != nullptr ? step : "");
  }
  std::string rest;
  if (more > 0) rest = counted(more, "finding", "findings");
  if (!others.empty()) rest += (rest.empty() ? "" : ", ") + counted_words(others);
  std::string text = limited(told, kFindings - 5);
  Page end(false);
  if (!rest.empty()) short_item(end, "  Besides: ", rest + ".", 2);
  end.item("  ", kWorkCaution);
  return text + end.take();
}

std::string roll(const Conclusions& all) {
  if (all.nothing_read()) return {};
  std::vector<std::string> wrong;
  std::size_t present = 0;
  if (all.rollcall) {
    for (const RollcallEntry& entry : all.rollcall->entries) {
      if (is_fine(entry))
        present += entry.state != EntryState::missing;
      else
        wrong.push_back(fmt::format("{} {}",
                                    only_errors_heard(all) ? "CANNOT BE TOLD" : upper(state_code(entry.state)),
                                    entry.label));
    }
  } else {
    for (std::size_t i = 0; i < all.controllers.size(); ++i) {
      const ControllerRecord& c = all.controllers[i];
      if (c.state == ControllerState::present)
        ++present;
      else
        wrong.push_back(fmt::format("{} {}", upper(state_code(c.state)), controller_words(all, i)));
    }
  }
  if (all.controllers.empty() && wrong.empty()) return {};
  Page page(false);
  page.heading(all.rollcall ? "ROLL CALL" : "CONTROLLERS (no roster: nobody said who should be there)");
  std::string words;
  constexpr std::size_t kNameColumns = 60, kNamesColumns = 250;  // of one; of all: four lines
  std::size_t named = 0;
  for (; named < wrong.size() && named < kRollNames; ++named) {
    const std::string name = clipped_clauses(wrong[named], kNameColumns, 1);
    if (words.size() + name.size() > kNamesColumns) break;
    words += (named > 0 ? "; " : "") + name;
  }
  if (named < wrong.size()) words += fmt::format("; {} more", wrong.size() - named);
  if (!words.empty()) short_item(page, "  ", words + (words.ends_with("..") ? "" : "."), 4);
  page.item("  ",
            fmt::format(
                "{} present{}.",
                present == 0 ? "No other is" : counted(present, wrong.empty() ? "is" : "other is", wrong.empty() ? "are" : "others are"),
                all.unclaimed.empty() ? ""
                                      : fmt::format("; {} talked without a claim",
                                                    counted(all.unclaimed.size(), "address", "addresses"))));
  return limited(page.take(), kRoll);
}

std::string notes(const Conclusions& all) {
  Page page(false);
  std::size_t count = 0;
  for (const RecordedNote& noted : all.recorder.notes) {
    if (noted.note.kind != RecorderNote::Kind::mark) continue;
    if (count++ == 0) page.heading("NOTES OF THE TECHNICIAN");
    if (count > kSteadyNotes) continue;
    short_item(page, fmt::format("  {}  ", format_time_of_day(noted.time).substr(0, 8)), noted.note.text, 1);
  }
  std::string text = page.take();
  // The last line of the section is for those that have no room.
  if (count > kSteadyNotes) {
    text.erase(text.rfind('\n', text.size() - 2) + 1);
    text += fmt::format("  .. and {} more in the full report.\n", count - kSteadyNotes + 1);
  }
  return text;
}

std::string not_heard(const Conclusions& all) {
  Page page(false);
  bool begun = false;
  for (const BusSummary& bus : all.buses) {
    const std::vector<BlindSpan> spans = unheard(bus);
    if (spans.empty()) continue;
    if (!begun) page.heading("WHAT THE RECORDER DID NOT HEAR");
    begun = true;
    SpanNs total = 0;
    for (const BlindSpan& span : spans) total = later_by(total, span_between(span.start, span.end));
    short_item(page, "  ",
               fmt::format("{}: {} in {}, first from {}: {}.", bus.name, format_span(total),
                           counted(spans.size(), "span", "spans"),
                           format_time_of_day(spans.front().start).substr(0, 8), spans.front().reason),
               2);
  }
  return limited(page.take(), kBlind);
}

std::string more(const Report& report) {
  Page page(false);
  page.heading("MORE");
  page.item(
      "  ",
      report.found.seeding.implements.empty()
          ? "Evidence, other steps and everybody's software: tramlog report, of the same capture."
          : "Evidence, other steps and everybody's software: tramlog report, of the same capture; rates and "
            "sections: tramlog seeding.");
  return page.take();
}

std::string render_report(const Report& report, const FormatOptions& options) {
  const Conclusions& all = report.found;
  const std::string begin =
      head(report, "BUS SUMMARY") + head_rest(report, options) + answer(report, kAnswer);
  return begin + findings(all, count_lines(begin)) + roll(all) + notes(all) + not_heard(all) + more(report);
}

std::string render_rollcall(const Report& report, const FormatOptions& options) {
  return head(report, "ROLL CALL") + head_rest(report, options) + answer(report, kAnswer + kFindings, false) +
         roll(report.found) + not_heard(report.found);
}

std::string render_seeding(const Report& report, const FormatOptions& options) {
  const SeedingRecord& seeding = report.found.seeding;
  Page page(false);
  page.line();
  page.item("", kSeedingCaution);
  page.heading("LINES THAT NEED ATTENTION, EACH WITH THE FIRST STEP");
  std::size_t attention = 0, pass = 0, told = 0;
  constexpr std::size_t kTold = 8;
  const auto take = [&](const std::vector<CheckLine>& lines) {
    for (const CheckLine& line : lines) {
      pass += line.verdict == Verdict::pass;
      if (line.verdict != Verdict::attention) continue;
      ++attention;
      if (++told > kTold) continue;
      short_item(page, "  * ", line.subject.empty() ? line.text : line.subject + ": " + line.text, 3);
      if (const char* step = first_step(line.code)) short_item(page, "    First: ", step, 2);
    }
  };
  for (const ImplementRecord& implement : seeding.implements) take(implement.lines);
  take(seeding.lines);
  page.item("  ", fmt::format("{} {} attention, {} {}.", counted(attention, "line", "lines"),
                              attention == 1 ? "needs" : "need", pass, pass == 1 ? "passes" : "pass"));
  if (seeding.implements.empty()) page.item("  ", "No implement talked to a task controller here.");
  return head(report, "SEEDING CHECK") + head_rest(report, options) + limited(page.take(), 45) +
         not_heard(report.found);
}

}  // namespace

const Format summary{"summary", "for the body of an e-mail: under 60 lines, what is wrong and the first step",
                     render_report, render_rollcall, render_seeding};

}  // namespace tramlog::formats
