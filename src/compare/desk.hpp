// What the parts of a comparison share.
#pragma once

#include "compare/facts.hpp"
#include "compare/judge.hpp"
#include "compare/parties.hpp"

namespace tramlog {

struct CompareDesk {
  const SideFacts& before;
  const SideFacts& after;
  ComparedParties parties;
  Comparison& out;
  /// Faults and notes that findings which one side has alone explain: places in the reports' lists.
  std::set<std::size_t> told_before, told_after;

  /// Whether numbers that belong to one unit mean the same on both sides.
  bool numbers_compare() const { return !before.summary.is_private && !after.summary.is_private; }

  void say(ChangeLine line) {
    if (out.lines.size() < kMaxChangeLines)
      out.lines.push_back(std::move(line));
    else
      ++out.not_listed;
  }
};

void compare_controllers(CompareDesk& desk);
/// Findings with what they explain, dropouts, trouble codes, faults.
void compare_trouble(CompareDesk& desk);
/// Notes that came or went: after compare_trouble().
void compare_notes(CompareDesk& desk);
void compare_buses(CompareDesk& desk);
void compare_implements(CompareDesk& desk);
/// What is about the recorder or the capture says nothing of the machine.
bool of_recorder(const std::string& code);
/// Whom a fault is about, each once; SIZE_MAX for nobody.
std::vector<std::size_t> parties_in(CompareDesk& desk, const FaultFacts& fault, bool of_after);
/// What makes the comparison doubtful.
void tell_doubts(CompareDesk& desk);

}  // namespace tramlog
