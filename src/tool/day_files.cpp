#include "tool/day_files.hpp"

#include <algorithm>
#include <filesystem>
#include <map>

#include "io/capture_reader.hpp"
#include "tool/progress.hpp"

namespace tramlog {
namespace {

// A time stamp that is further ahead of the one before is a flipped bit, not the end of the capture.
constexpr SpanNs kPlausibleStep = 24 * kHour;

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

SortedDays days_of(const std::vector<std::string>& paths) {
  SortedDays sorted;
  std::vector<TimedCapture> captures;
  std::map<std::string, std::string> seen;  // fingerprint -> name
  Progress progress;
  for (const std::string& path : paths) {
    const std::string name = std::filesystem::path(path).filename().string();
    auto source = CaptureSource::open({path});
    if (!source) {
      sorted.unreadable.push_back(name + ": " + source.error().what);
      sorted.damaged = true;
      continue;
    }
    TimedCapture one;
    one.path = path;
    bool any = false;
    for (;;) {
      const std::span<const Event> events = source->read();
      if (events.empty()) break;
      progress.add(events.size());
      for (const Event& event : events) {
        if (!event.is_timed()) continue;
        if (!any) one.start = one.end = event.time;
        any = true;
        if (event.time > one.end && span_between(one.end, event.time) < kPlausibleStep) one.end = event.time;
      }
    }
    if (!any) {
      sorted.unreadable.push_back(name + ": nothing with a time in it");
      sorted.damaged = true;
      continue;
    }
    const CaptureFile& file = source->files().front();
    if (const auto [known, is_new] = seen.try_emplace(file.fingerprint, name); !is_new) {
      sorted.unreadable.push_back(name + ": the same recording as " + known->second + ", counted once");
      continue;
    }
    captures.push_back(std::move(one));
  }
  sorted.days = sort_into_days(std::move(captures));
  return sorted;
}

}  // namespace tramlog
