// A check: one file in exam/checks/, named like its object. It reads what was observed and speaks in Faults.
#pragma once

#include "exam/observations.hpp"
#include "exam/words.hpp"

namespace tramlog {

struct Check {
  const char* code;      // dotted, stable; what its faults carry
  const char* explains;  // one sentence for people: what it means, its limits with unit and clause
  /// Appends faults; never looks at `so_far.faults`.
  void (*judge)(const Conclusions& so_far, const Observations& seen, std::vector<Fault>& faults);
};

}  // namespace tramlog
