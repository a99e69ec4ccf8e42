// How a segment ends, read from its end.
#pragma once

#include <optional>
#include <string>

#include "base/time.hpp"

namespace tramlog {

struct SegmentEnd {
  TimeNs last_time = 0;   // of the last packet, statistics or note
  bool run_ends = false;  // the last notice is the recorder's note that the run ends
};

/// Nothing if there is no event in it or it cannot be read. Looks at the last 256 KiB, of a packed segment
/// with an index at the last Zstandard frames; reads the whole segment only if these do not tell.
std::optional<SegmentEnd> read_segment_end(const std::string& path, bool packed);

}  // namespace tramlog
