// Protection of segments: a text file beside each, "<plain name>.keep". It counts for the run and segment
// number in its name, so it outlives packing. People may make one by hand; an empty one protects too.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"
#include "record/segment_name.hpp"

namespace tramlog {

/// Why a stretch of time is kept.
struct KeepMark {
  TimeNs from = 0, to = 0;
  std::string why;  // one line of UTF-8

  bool operator==(const KeepMark&) const = default;
};

/// Most lines in one file; what comes after them is protected anyway.
inline constexpr std::size_t kMostMarks = 200;

/// "run-000123-0007-20261126T031500Z.pcapng.keep"
std::string keep_name(const SegmentName& segment);
/// The segment that a keep file of this name protects.
std::optional<SegmentName> parse_keep_name(std::string_view file_name);

/// Adds lines to the keep file of a segment in `folder`: "<from> <to> <why>", times as RFC 3339. Lines that
/// are there already are not repeated; lines of people stay. Atomic, and on the disk when it returns. Errors:
/// environment.
Result<bool> add_keep_marks(const std::string& folder, const SegmentName& segment,
                            const std::vector<KeepMark>& marks);

/// The lines of a keep file as they are; none if there is no such file.
std::vector<std::string> keep_lines(const std::string& folder, const SegmentName& segment);

}  // namespace tramlog
