// Where the Zstandard frames of a packed segment are and what times they hold, so that a part can be read
// without the rest.
#pragma once

#include <atomic>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.hpp"
#include "base/time.hpp"

namespace tramlog {

struct IndexFrame {
  std::uint64_t packed_offset = 0, packed_bytes = 0;  // in the file
  std::uint64_t plain_offset = 0, plain_bytes = 0;    // unpacked
  bool timed = false;                                 // there is a time in it
  TimeNs first = 0, last = 0;  // earliest and latest of its packets, statistics and notes
  std::uint64_t packets = 0;   // enhanced packet blocks

  bool operator==(const IndexFrame&) const = default;
};

struct SegmentIndex {
  std::vector<IndexFrame> frames;  // without gaps, from the first byte to the last
  std::uint64_t packed_bytes() const {
    return frames.empty() ? 0 : frames.back().packed_offset + frames.back().packed_bytes;
  }
  std::uint64_t plain_bytes() const {
    return frames.empty() ? 0 : frames.back().plain_offset + frames.back().plain_bytes;
  }
};

/// "….pcapng.zst.index"
std::string index_path(const std::string& packed_path);

/// Unpacks the whole segment, which checks every frame's checksum. Errors: input (damaged, cut short, no
/// Zstandard), environment. `stop`, where given, ends it with an error. Takes some 3 MiB of memory, and what
/// a foreign file's window asks for, at most 128.
Result<SegmentIndex> build_index(const std::string& packed_path, const std::atomic<bool>* stop = nullptr);
/// The same, and the unpacked bytes must be those of `plain_path`.
Result<SegmentIndex> build_index_and_compare(const std::string& packed_path, const std::string& plain_path,
                                             const std::atomic<bool>& stop);

/// Text form: "tramlog.index/1 <checksum> <frames>", then a line a frame in the order of IndexFrame, "- -" if
/// it has no time.
std::string index_text(const SegmentIndex& index);

/// Reads the file beside a packed segment and holds it against it: the checksum, sizes without gaps up to the
/// file's size, and at each offset a Zstandard frame of the stated unpacked size. Error (input) for whatever
/// does not agree: build it anew.
Result<SegmentIndex> read_index(const std::string& packed_path);

/// Replaces the file beside a packed segment; it is on the disk when this returns. Errors: environment.
Result<bool> write_index(const std::string& packed_path, const SegmentIndex& index);

}  // namespace tramlog
