// Captures sorted into days.
#pragma once

#include <string>
#include <vector>

#include "base/result.hpp"
#include "base/time.hpp"

namespace tramlog {

/// Quiet for so long, and another date: a new day. Work across midnight stays one day; a break at noon is
/// none.
inline constexpr SpanNs kQuietBetweenDays = 2 * kHour;
/// A recorder that never sleeps: a new day begins with the first capture of another date after so long.
inline constexpr SpanNs kLongestDay = 20 * kHour;

struct TimedCapture {
  std::string path;
  TimeNs start = 0, end = 0;
};
struct DayOfCaptures {
  std::string date;  // UTC, of its first capture's beginning
  std::vector<std::string> paths;
};
struct SortedDays {
  std::vector<DayOfCaptures> days;      // by time
  std::vector<std::string> unreadable;  // "name: why"; copies of others, too
  bool damaged = false;                 // something could not be read; copies do not count
};

/// By the times alone; dates come once each.
std::vector<DayOfCaptures> sort_into_days(std::vector<TimedCapture> captures);

/// Reads every file once to know when it begins and ends: a file's name and date may be anybody's.
SortedDays days_of(const std::vector<std::string>& paths);

}  // namespace tramlog
