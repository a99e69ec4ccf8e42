// What the check-list says about counters: totals against what was delivered, standing still, jumping back.
#pragma once

#include <map>

#include "implement/device.hpp"
#include "implement/totals_count.hpp"

namespace tramlog {

/// One counter with what it should be checked against.
struct JudgedTotal {
  ProcessVariable variable;
  TotalCounter counter;
  bool is_area = false;
  bool has_source = false;  // a rate of what it counts is told (for an area: a width and a speed are enough)
  double amount_per_count = 0;  // base units of one raw count; 0: it counts nothing that can be integrated
};

/// Appends the records and the lines total.differs, total.area, total.frozen, total.jumped-back.
void tell_totals(const Device& device, const std::map<ProcessVariable, JudgedTotal>& totals,
                 ImplementRecord& out);

}  // namespace tramlog
