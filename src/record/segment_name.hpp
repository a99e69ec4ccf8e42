// The names of the recording's files: sorted by name is sorted by time, even if the clock was wrong.
#pragma once

#include <compare>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "base/time.hpp"

namespace tramlog {

/// A segment is one file of a run; a run is one life of the recorder.
struct SegmentName {
  std::uint32_t run = 0;      // never used twice in a folder
  std::uint32_t segment = 0;  // of the run, from 1
  TimeNs start = 0;           // when it began; the name holds whole seconds, cut towards the past
  bool compressed = false;    // ".zst"
};

/// "run-000123-0007-20261126T031500Z.pcapng", ".zst" appended if compressed; UTC. Larger numbers take more
/// digits.
std::string segment_name(const SegmentName& name);

/// The exact opposite: whatever segment_name() would not write is none of ours.
std::optional<SegmentName> parse_segment_name(std::string_view file_name);

/// What a segment is known by, whether plain or packed, in the order of recording.
struct SegmentKey {
  std::uint32_t run = 0, segment = 0;
  auto operator<=>(const SegmentKey&) const = default;
};
inline SegmentKey key_of(const SegmentName& name) {
  return {name.run, name.segment};
}

/// Beside a segment: what says where its Zstandard frames are, and what protects it.
inline constexpr std::string_view kPackedEnding = ".zst";
inline constexpr std::string_view kIndexEnding = ".index";  // after the packed segment's name
inline constexpr std::string_view kKeepEnding = ".keep";    // after the plain segment's name
inline constexpr std::string_view kPartEnding = ".part";    // on its way to its place

}  // namespace tramlog
