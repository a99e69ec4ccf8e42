#include "compare/words.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "compare/judge.hpp"
#include "exam/words.hpp"
#include "report/text_limits.hpp"

namespace tramlog {

std::string verdict_words(const Comparison& comparison) {
  const std::size_t worse = comparison.count(Change::worse), better = comparison.count(Change::better),
                    noted = comparison.count(Change::noted), other = comparison.count(Change::other);
  if (worse + better + noted + other == 0) return "Nothing changed.";
  std::string words = worse > 0 ? counted(worse, "thing got worse", "things got worse") : "Nothing got worse";
  if (better > 0) words += fmt::format(", {} got better", better);
  if (noted > 0) words += fmt::format(", {} changed without being a fault", noted);
  const auto open =
      static_cast<std::size_t>(std::count_if(comparison.lines.begin(), comparison.lines.end(),
                                             [](const ChangeLine& line) { return line.too_short; }));
  if (open > 0) words += fmt::format(", of {} it is too short to tell", open);
  if (other > open) words += fmt::format(", {} otherwise different", counted(other - open, "is", "are"));
  return words + ".";
}

std::vector<std::string> worst_words(const Comparison& comparison) {
  constexpr std::size_t kNamed = 3, kColumns = 67, kLines = 3;
  std::vector<std::string> worst;
  std::vector<std::string> subjects;
  for (const ChangeLine& line : comparison.lines) {
    if (line.change != Change::worse || worst.size() == kNamed) continue;
    // One sentence of each: the second cause of one incident, or more faults of one unit, stand below.
    if (!line.subject.empty() && std::find(subjects.begin(), subjects.end(), line.subject) != subjects.end())
      continue;
    subjects.push_back(line.subject);
    worst.push_back(clipped_clauses(line_words(line), kColumns, kLines));
  }
  return worst;
}

std::string compared_words(const Comparison& comparison) {
  std::string words =
      counted(comparison.compared, "controller, count or figure was held against the other side's",
              "controllers, counts and figures were held against each other");
  if (comparison.within_noise > 0)
    words += fmt::format("; {} by no more than two healthy recordings would",
                         counted(comparison.within_noise, "differs", "differ"));
  return words + ".";
}

std::string side_words(const SideSummary& side) {
  std::string start = side.start.substr(0, 19);
  if (start.size() == 19) start[10] = ' ';
  std::string words = fmt::format("{} UTC, {}", start, span_words(side.duration_s));
  if (side.blind_s > 0) words += fmt::format(", heard for {}", span_words(side.duration_s - side.blind_s));
  return words + ", " + counted(side.controllers, "controller", "controllers");
}

std::string line_words(const ChangeLine& line) {
  std::string words = line.subject.empty() ? line.text : line.subject + ": " + line.text;
  if (!words.ends_with('.')) words += '.';
  return words;
}

const char* change_heading(Change change) {
  constexpr const char* kHeadings[] = {"WORSE", "BETTER", "CHANGED, AND NO FAULT", "OTHERWISE DIFFERENT"};
  return kHeadings[static_cast<int>(change)];
}

std::string machine_of(const Comparison& comparison) {
  return comparison.after.machine.empty() ? comparison.before.machine : comparison.after.machine;
}

}  // namespace tramlog
