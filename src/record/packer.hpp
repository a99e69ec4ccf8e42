// A closed segment, packed: small, still readable in parts, and never less than what it was made of.
#pragma once

#include <atomic>
#include <cstdint>
#include <string>

#include "base/result.hpp"

namespace tramlog {

struct PackedSegment {
  std::string path;  // of the packed one
  std::uint64_t plain_bytes = 0, packed_bytes = 0;
  std::size_t frames = 0;
};

/// "….pcapng" becomes "….pcapng.zst" of independent Zstandard frames of about 1 MiB, each beginning at a
/// block (RFC 8878, content size and checksum on). Order: written to ".part", on the disk, unpacked and
/// compared with the plain one, put in its place, folder on the disk, index written, plain one removed. So at
/// every moment one whole segment is there, and RunFolder::open tells which. Errors: environment (disk full,
/// permission, `stop` was set), input (no such file). The plain one is then untouched and
/// ".part" is gone. Takes some 10 MiB of memory.
Result<PackedSegment> pack_segment(const std::string& plain, const std::atomic<bool>& stop);

}  // namespace tramlog
