// A cause: one file in exam/causes/, named like its object: which incidents it may explain, what it says, and
// what to measure or swap next. How well it fits is not its business: evidence and dbc/cause-weights.toml
// decide (fact sheet, network and diagnostics, 10).
#pragma once

#include "exam/evidence.hpp"
#include "exam/words.hpp"

namespace tramlog {

struct Cause {
  const char* code;   // stable
  unsigned explains;  // OR of bit_of(IncidentKind)
  /// Fills text and next steps, and puts reasons that only this cause has into `why`.
  void (*tell)(const Scene& scene, Finding& finding);
};

}  // namespace tramlog
