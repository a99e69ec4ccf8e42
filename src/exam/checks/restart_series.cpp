#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check restart_series;

namespace {

constexpr std::size_t kShown = 5;

struct Series {
  std::vector<std::size_t> controllers;
  std::vector<Mark> times;
};

/// Its restarts by time: claims without a request, and returns from a dropout with a claim. Groups: of the
/// dropouts, 0 for none.
void restarts_of(const Conclusions& all, const Observations& seen, std::size_t controller,
                 std::vector<Mark>& times, std::vector<unsigned>& groups) {
  std::vector<std::pair<Mark, unsigned>> found;
  for (const Restart& restart : seen.restarts)
    if (restart.controller == controller)
      for (const Mark& at : restart.each) found.emplace_back(at, 0);
  for (const Dropout& dropout : all.dropouts)
    if (dropout.controller == controller && dropout.kind == DropoutKind::controller && dropout.reclaimed &&
        dropout.end)
      found.emplace_back(*dropout.end, dropout.group.value_or(0));
  std::stable_sort(found.begin(), found.end(),
                   [](const auto& a, const auto& b) { return a.first.time < b.first.time; });
  for (const auto& [at, group] : found) {
    times.push_back(at);
    groups.push_back(group);
  }
}

std::string rhythm_words(const std::vector<Mark>& times, double regular_pct) {
  std::vector<SpanNs> intervals;
  for (std::size_t i = 1; i < times.size(); ++i) intervals.push_back(times[i].time - times[i - 1].time);
  std::sort(intervals.begin(), intervals.end());
  const SpanNs median = intervals[intervals.size() / 2];
  const SpanNs apart = std::max(median - intervals.front(), intervals.back() - median);
  if (intervals.size() > 1 && static_cast<double>(apart) <= regular_pct / 100 * static_cast<double>(median))
    return fmt::format("at regular intervals of {}, give or take {}", format_span(median),
                       format_span(apart));
  if (intervals.size() == 1) return fmt::format("{} apart", format_span(median));
  return fmt::format("at irregular intervals of {} to {}", format_span(intervals.front()),
                     format_span(intervals.back()));
}

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  const SeedingLimits& limits = *seen.limits;
  std::vector<Series> series;
  std::map<std::vector<unsigned>, std::size_t> together;  // by the groups of the restarts
  for (std::size_t c = 0; c < all.controllers.size(); ++c) {
    if (std::find(seen.double_claims.begin(), seen.double_claims.end(), c) != seen.double_claims.end())
      continue;
    std::vector<Mark> times;
    std::vector<unsigned> groups;
    restarts_of(all, seen, c, times, groups);
    if (times.size() < 2 || static_cast<double>(times.size()) < limits["controller.restart_series"]) continue;
    const bool grouped = std::find(groups.begin(), groups.end(), 0u) == groups.end();
    if (grouped) {
      const auto [place, fresh] = together.emplace(groups, series.size());
      if (!fresh) {
        series[place->second].controllers.push_back(c);
        continue;
      }
    }
    series.push_back({{c}, std::move(times)});
  }
  for (const Series& one : series) {
    Fault fault;
    fault.code = restart_series.code;
    fault.severity = Severity::warning;
    fault.start = one.times.front().time;
    fault.end = one.times.back().time;
    fault.controllers = one.controllers;
    fault.bus = all.controllers[one.controllers.front()].bus;
    fault.text = fmt::format("{} started again{} {} times, {}.", controllers_words(all, one.controllers),
                             one.controllers.size() > 1 ? " together" : "", one.times.size(),
                             rhythm_words(one.times, limits["controller.restart_regular_pct"]));
    for (std::size_t i = 0; i < one.times.size() && i < kShown; ++i)
      fault.evidence.push_back({one.times[i], "address claim after a start"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check restart_series{
    "controller.restart-series",
    "A controller, or several together, started again and again: three times at least. Regular intervals "
    "speak of its program, irregular ones of its supply (fact sheet 10).",
    judge};

}  // namespace tramlog::checks
