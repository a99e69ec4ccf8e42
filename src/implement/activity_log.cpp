#include "implement/activity_log.hpp"

#include <algorithm>

namespace tramlog {

bool ActivityLog::wants(TimeNs now) const {
  if (!looked_) return true;
  const SpanNs step = span_between(*looked_, now);
  return step < 0 || step >= kLookEvery;  // a clock that was put back begins anew
}

void ActivityLog::look(TimeNs now, double mm_s, bool drives, bool works) {
  SpanNs step = looked_ && step_known_ ? span_between(*looked_, now) : 0;
  if (step < 0 || step > kLongestStep) step = 0;
  looked_ = now;
  step_known_ = true;
  if (drives) add(driving_, now, step, mm_s);
  if (drives && works) add(working_, now, step, mm_s);
}

void ActivityLog::add(std::vector<Stretch>& list, TimeNs now, SpanNs step, double mm_s) {
  const SpanNs pause = list.empty() ? INT64_MAX : span_between(list.back().end, now);
  if (pause < 0 || pause > kPause) {
    if (list.size() >= kMaxStretches) {
      // What lies closest together is told as one.
      std::size_t closest = 1;
      const auto gap = [&](std::size_t i) { return span_between(list[i - 1].end, list[i].start); };
      for (std::size_t i = 2; i < list.size(); ++i)
        if (gap(i) < gap(closest)) closest = i;
      Stretch& into = list[closest - 1];
      const Stretch& from = list[closest];
      into.end = std::max(into.end, from.end);
      into.moving += from.moving;
      into.distance_m += from.distance_m;
      into.fastest_mm_s = std::max(into.fastest_mm_s, from.fastest_mm_s);
      list.erase(list.begin() + static_cast<std::ptrdiff_t>(closest));
    }
    Stretch fresh;
    fresh.start = fresh.end = now;
    list.push_back(fresh);
    step = 0;  // where it drove before it did is not known
  }
  Stretch& now_on = list.back();
  now_on.end = now;
  now_on.moving += step;
  now_on.distance_m += to_seconds(step) * mm_s / 1000;
  now_on.fastest_mm_s = std::max(now_on.fastest_mm_s, mm_s);
}

}  // namespace tramlog
