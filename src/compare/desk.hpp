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

  void say(ChangeLine line) {
    if (out.lines.size() < kMaxChangeLines)
      out.lines.push_back(std::move(line));
    else
      ++out.not_listed;
  }
};

void compare_controllers(CompareDesk& desk);
void compare_trouble(CompareDesk& desk);
void compare_buses(CompareDesk& desk);
void compare_implements(CompareDesk& desk);
/// What makes the comparison doubtful.
void tell_doubts(CompareDesk& desk);

}  // namespace tramlog
