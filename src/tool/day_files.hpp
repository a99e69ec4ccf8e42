// Captures sorted into days.
#pragma once

#include <string>
#include <vector>

#include "report/day_groups.hpp"

namespace tramlog {

struct SortedDays {
  std::vector<DayOfCaptures> days;      // by time
  std::vector<std::string> unreadable;  // "name: why"; copies of others, too
  bool damaged = false;                 // something could not be read; copies do not count
};

/// Reads every file once to know when it begins and ends: a file's name and date may be anybody's.
SortedDays days_of(const std::vector<std::string>& paths);

}  // namespace tramlog
