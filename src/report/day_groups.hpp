// Captures sorted into days by their times.
#pragma once

#include <string>
#include <vector>

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
/// By the times alone; dates come once each.
std::vector<DayOfCaptures> sort_into_days(std::vector<TimedCapture> captures);

}  // namespace tramlog
