#include "record/retention.hpp"

#include <algorithm>
#include <numeric>

namespace tramlog {
namespace {

std::uint64_t beyond(std::uint64_t value, std::uint64_t limit) {
  return value > limit ? value - limit : 0;
}

}  // namespace

RetentionPlan choose_removals(std::span<const StoredSegment> segments, const RetentionLimits& limits,
                              std::uint64_t free_bytes, TimeNs now) {
  std::vector<std::size_t> order(segments.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return key_of(segments[a].name) < key_of(segments[b].name);
  });
  std::uint64_t total = 0;
  for (const StoredSegment& segment : segments) total += segment.bytes;
  // One removal serves both limits, so the larger excess is what has to go.
  std::uint64_t excess = 0;
  if (limits.most_bytes != 0) excess = beyond(total, limits.most_bytes);
  if (limits.least_free_bytes != 0) excess = std::max(excess, beyond(limits.least_free_bytes, free_bytes));

  // Age first: what it takes may be enough for the other limits, wherever a wrong clock once put it.
  std::vector<bool> removed(segments.size());
  for (const std::size_t i : order) {
    const StoredSegment& segment = segments[i];
    if (segment.is_protected || segment.in_use || limits.most_age == 0) continue;
    if (span_between(segment.end, now) <= limits.most_age) continue;
    removed[i] = true;
    excess = beyond(excess, segment.bytes);
  }
  for (const std::size_t i : order) {
    const StoredSegment& segment = segments[i];
    if (excess == 0) break;
    if (segment.is_protected || segment.in_use || removed[i]) continue;
    removed[i] = true;
    excess = beyond(excess, segment.bytes);
  }
  RetentionPlan plan;
  for (const std::size_t i : order)
    if (removed[i]) plan.removals.push_back(i);
  plan.limits_hold = excess == 0;
  plan.excess_bytes = excess;
  return plan;
}

}  // namespace tramlog
