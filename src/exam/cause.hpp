// A cause: one file in exam/causes/, named like its object. It reads faults, dropouts and the roll call and
// proposes Findings with confidence, measured reasons and next steps (fact sheet, network and diagnostics,
// 10).
#pragma once

#include "exam/observations.hpp"
#include "exam/words.hpp"

namespace tramlog {

struct Cause {
  const char* code;  // stable
  void (*propose)(const Conclusions& found, const Observations& seen, std::vector<Finding>& findings);
};

}  // namespace tramlog
