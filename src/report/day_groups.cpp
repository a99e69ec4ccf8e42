#include "report/day_groups.hpp"

#include <algorithm>

namespace tramlog {
namespace {

std::string date_of(TimeNs time) {
  return format_date_time(time).substr(0, 10);
}

}  // namespace

std::vector<DayOfCaptures> sort_into_days(std::vector<TimedCapture> captures) {
  std::stable_sort(captures.begin(), captures.end(),
                   [](const TimedCapture& a, const TimedCapture& b) { return a.start < b.start; });
  std::vector<DayOfCaptures> days;
  TimeNs begin = 0, end = 0;
  for (TimedCapture& capture : captures) {
    const std::string date = date_of(capture.start);
    const bool other_date = days.empty() || date != days.back().date;
    const bool quiet = span_between(end, capture.start) >= kQuietBetweenDays;
    const bool long_enough = span_between(begin, capture.start) >= kLongestDay;
    if (other_date && (days.empty() || quiet || long_enough)) {
      days.push_back({date, {}});
      begin = capture.start;
      end = capture.end;
    }
    end = std::max(end, capture.end);
    days.back().paths.push_back(std::move(capture.path));
  }
  return days;
}

}  // namespace tramlog
