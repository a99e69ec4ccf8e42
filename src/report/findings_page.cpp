#include "report/findings_page.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <set>
#include <string_view>

#include "exam/story.hpp"
#include "exam/words.hpp"
#include "report/first_step.hpp"
#include "report/report.hpp"

namespace tramlog {

const char* const kWorkCaution =
    "Before work on wiring, supplies or units: engine off, key out, implement lowered and secured, fans at a "
    "standstill. Local rules and the machine's manual come first.";

namespace {

constexpr std::size_t kMainFindings = kMainIncidents;
constexpr std::size_t kCrowd = 60;                                // faults and dropouts together
constexpr const char* kExaminerLimit = "examiner.limit-reached";  // says nothing of the machine
// Of a crowd:
constexpr std::size_t kBriefFindings = 4;  // in one line each, after the main ones
constexpr std::size_t kBriefReasons = 2;   // reasons and steps of a main finding

// Which dropouts or faults a finding speaks for.
std::vector<bool> explained(const Conclusions& all, bool of_dropouts) {
  std::vector<bool> is(of_dropouts ? all.dropouts.size() : all.faults.size(), false);
  const auto mark = [&](const std::vector<std::size_t>& list) {
    for (const std::size_t i : list) is[i] = true;
  };
  for (const Finding& finding : all.findings) {
    mark(of_dropouts ? finding.dropouts : finding.faults);
    if (!of_dropouts) mark(finding.consequences);
  }
  return is;
}

}  // namespace

std::string finding_words(const Conclusions& all, std::size_t rank) {
  const Finding& finding = all.findings[rank];
  const bool second = rank > 0 && all.findings[rank - 1].incident == finding.incident;
  return fmt::format("({}{}) {}", second ? "or, " : "", confidence_code(finding.confidence), finding.text);
}

std::vector<std::size_t> main_findings(const Conclusions& all, std::size_t* more) {
  std::vector<std::size_t> ranks;
  std::size_t incidents = 0;
  for (std::size_t i = 0; i < all.findings.size(); ++i) {
    if (i > 0 && all.findings[i - 1].incident == all.findings[i].incident) continue;
    if (++incidents <= kMainFindings) ranks.push_back(i);
  }
  if (more != nullptr) *more = incidents - ranks.size();
  return ranks;
}

std::vector<std::size_t> loose_faults(const Conclusions& all) {
  const std::vector<bool> told = explained(all, false);
  std::vector<std::size_t> loose;
  for (std::size_t f = 0; f < all.faults.size(); ++f)
    if (!told[f] && all.faults[f].severity != Severity::note && all.faults[f].code != kExaminerLimit)
      loose.push_back(f);
  std::stable_sort(loose.begin(), loose.end(), [&](std::size_t a, std::size_t b) {
    return all.faults[a].severity > all.faults[b].severity;
  });
  // Where few have room, each should ask for other work.
  std::set<std::string_view> steps;
  std::vector<bool> repeats(all.faults.size(), false);
  for (const std::size_t f : loose) {
    const char* step = first_step(all.faults[f].code);
    repeats[f] = !steps.insert(step != nullptr ? step : "").second;
  }
  std::stable_sort(loose.begin(), loose.end(), [&](std::size_t a, std::size_t b) {
    const Severity of_a = all.faults[a].severity, of_b = all.faults[b].severity;
    return of_a != of_b ? of_a > of_b : repeats[a] < repeats[b];
  });
  return loose;
}

bool crowded(const Conclusions& all) {
  return all.faults.size() + all.dropouts.size() > kCrowd;
}

std::vector<bool> counted_under(const Conclusions& all, bool of_dropouts) {
  if (crowded(all)) return explained(all, of_dropouts);
  return std::vector<bool>(of_dropouts ? all.dropouts.size() : all.faults.size(), false);
}

void main_findings_page(Page& page, const Conclusions& all) {
  const std::vector<std::size_t> loose = loose_faults(all);
  if (all.findings.empty() && loose.empty()) return;
  page.heading("MAIN FINDINGS");
  std::size_t more = 0;
  const std::vector<std::size_t> ranks = main_findings(all, &more);
  for (const std::size_t i : ranks) page.item(fmt::format("  {}. ", i + 1), finding_words(all, i));
  if (more > 0) page.item("     ", fmt::format("{} below.", counted(more, "more is told", "more are told")));
  std::size_t shown = ranks.size();
  for (std::size_t k = 0; k < loose.size() && shown < kMainFindings; ++k, ++shown)
    page.item("  *  ", all.faults[loose[k]].text);
}

void causes_page(Page& page, const Conclusions& all) {
  if (all.findings.empty()) return;
  page.heading("WHAT MOST LIKELY CAUSED IT");
  page.item("  ", kWorkCaution);
  const bool brief = crowded(all);
  for (std::size_t i = 0; i < all.findings.size(); ++i) {
    const Finding& finding = all.findings[i];
    if (brief && i >= kMainFindings + kBriefFindings) {
      page.item("  ",
                fmt::format("{} in the JSON report.",
                            counted(all.findings.size() - i, "finding more stands", "findings more stand")));
      break;
    }
    page.item(fmt::format("  {}. ", i + 1), finding_words(all, i));
    const std::size_t lines = finding.faults.size() + finding.consequences.size();
    if (brief && i < kMainFindings && finding.dropouts.size() + lines > 0)
      page.item("     ", fmt::format("{} and {} are counted here.",
                                     counted(finding.dropouts.size(), "dropout", "dropouts"),
                                     counted(lines, "fault or warning", "faults and warnings")));
    if (brief && i >= kMainFindings) continue;
    const auto some = [&](const std::vector<std::string>& list) {
      return brief ? std::min<std::size_t>(list.size(), kBriefReasons) : list.size();
    };
    for (std::size_t w = 0; w < some(finding.why); ++w) page.item("     because  ", finding.why[w]);
    for (std::size_t w = 0; w < some(finding.against); ++w) page.item("     against  ", finding.against[w]);
    if (!finding.tell_apart.empty()) page.item("     decide   ", finding.tell_apart);
    for (std::size_t step = 0; step < some(finding.next_steps); ++step)
      page.item(step == 0 ? "     look at  1. " : fmt::format("              {}. ", step + 1),
                finding.next_steps[step]);
  }
}

}  // namespace tramlog
