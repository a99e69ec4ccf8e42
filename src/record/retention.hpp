// Which segments have to go. Pure: asks neither disk nor clock.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "record/segment_name.hpp"

namespace tramlog {

struct StoredSegment {
  SegmentName name;
  std::uint64_t bytes = 0;    // with index and keep file
  TimeNs end = 0;             // latest time in it that is known; at least name.start
  bool is_protected = false;  // never removed
  bool in_use = false;        // being written or otherwise busy: not removed now
};

/// 0: no such limit.
struct RetentionLimits {
  std::uint64_t most_bytes = 0;        // of all segments
  std::uint64_t least_free_bytes = 0;  // on the disk
  SpanNs most_age = 0;                 // since a segment's end, in capture time
};

struct RetentionPlan {
  std::vector<std::size_t> removals;  // indices into the segments, oldest first
  bool limits_hold =
      true;  // false: bytes or free space cannot be held, because the rest is protected or in use
  std::uint64_t excess_bytes = 0;  // that would have to go besides
};

/// Oldest (by run and segment) first, no more than the limits ask for. `free_bytes`: on the disk now; `now`
/// in capture time. A protected segment outlives the age limit, and nothing is said about it: that is what
/// protection is for.
RetentionPlan choose_removals(std::span<const StoredSegment> segments, const RetentionLimits& limits,
                              std::uint64_t free_bytes, TimeNs now);

}  // namespace tramlog
