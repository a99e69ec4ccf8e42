#include "record/segment_end.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zstd.h>

#include <algorithm>
#include <variant>
#include <vector>

#include "base/bytes.hpp"
#include "can/event.hpp"
#include "io/capture_reader.hpp"
#include "io/pcapng_format.hpp"
#include "io/pcapng_scan.hpp"
#include "record/durable.hpp"
#include "record/segment_index.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kTail = 256 * 1024;
constexpr std::uint64_t kLargestFrame = 4 * 1024 * 1024;  // ours have 1 MiB

/// From block to block towards the front, as the recorder writes them: little-endian, nanoseconds. Nothing if
/// what is there does not tell all.
std::optional<SegmentEnd> walk_back(Bytes bytes) {
  std::optional<TimeNs> last_time;
  for (std::size_t end = bytes.size(); end >= pcapng::kShortestBlock;) {
    const std::uint32_t length = load_le32(bytes.data() + end - 4);
    if (length < pcapng::kShortestBlock || length > end) return std::nullopt;
    const std::uint8_t* const block = bytes.data() + end - length;
    if (pcapng::plausible_block(block, length, false) != length) return std::nullopt;
    end -= length;
    const std::uint32_t type = load_le32(block);
    const bool note = type == pcapng::kRecorderNote, statistics = type == pcapng::kInterfaceStatistics;
    if (!note && !statistics && type != pcapng::kEnhancedPacket) continue;
    const std::uint64_t ticks = std::uint64_t{load_le32(block + 12)} << 32 | load_le32(block + 16);
    if (!last_time) last_time = static_cast<TimeNs>(std::min<std::uint64_t>(ticks, INT64_MAX));
    if (note || statistics)
      return SegmentEnd{*last_time, note && load_le32(block + 8) ==
                                                static_cast<std::uint32_t>(RecorderNote::Kind::run_ends)};
  }
  return std::nullopt;
}

std::vector<std::uint8_t> read_part(int descriptor, std::uint64_t offset, std::size_t size) {
  std::vector<std::uint8_t> bytes(size);
  if (::lseek(descriptor, static_cast<off_t>(offset), SEEK_SET) < 0 ||
      read_up_to(descriptor, bytes.data(), size) != static_cast<std::int64_t>(size))
    bytes.clear();
  return bytes;
}

std::optional<SegmentEnd> plain_end(const std::string& path) {
  const OwnedFile file(::open(path.c_str(), O_RDONLY | O_CLOEXEC));
  struct stat status {};
  if (!file.is_open() || ::fstat(file.get(), &status) != 0) return std::nullopt;
  const auto size = static_cast<std::uint64_t>(status.st_size);
  const std::size_t tail = static_cast<std::size_t>(std::min<std::uint64_t>(size, kTail));
  return walk_back(read_part(file.get(), size - tail, tail));
}

std::optional<SegmentEnd> packed_end(const std::string& path) {
  const auto index = read_index(path);
  if (!index || index.value().frames.empty()) return std::nullopt;
  const IndexFrame& frame = index.value().frames.back();
  if (frame.packed_bytes > kLargestFrame || frame.plain_bytes > kLargestFrame) return std::nullopt;
  const OwnedFile file(::open(path.c_str(), O_RDONLY | O_CLOEXEC));
  if (!file.is_open()) return std::nullopt;
  const auto packed =
      read_part(file.get(), frame.packed_offset, static_cast<std::size_t>(frame.packed_bytes));
  std::vector<std::uint8_t> plain(static_cast<std::size_t>(frame.plain_bytes));
  if (ZSTD_decompress(plain.data(), plain.size(), packed.data(), packed.size()) != plain.size())
    return std::nullopt;
  return walk_back(plain);
}

std::optional<SegmentEnd> whole_end(const std::string& path) {
  auto source = CaptureSource::open({path});
  if (!source) return std::nullopt;
  std::optional<SegmentEnd> end;
  bool run_ends = false;
  for (auto events = source->read(); !events.empty(); events = source->read()) {
    for (const Event& event : events) {
      if (event.kind == EventKind::notice) {
        if (std::holds_alternative<Damage>(*event.notice) || std::holds_alternative<BusInfo>(*event.notice) ||
            std::holds_alternative<FramesLost>(*event.notice))
          continue;
        const auto* note = std::get_if<RecorderNote>(event.notice);
        run_ends = note != nullptr && note->kind == RecorderNote::Kind::run_ends;
      }
      end = SegmentEnd{event.time, false};
    }
  }
  if (end) end->run_ends = run_ends;
  return end;
}

}  // namespace

std::optional<SegmentEnd> read_segment_end(const std::string& path, bool packed) {
  if (auto end = packed ? packed_end(path) : plain_end(path)) return end;
  return whole_end(path);
}

}  // namespace tramlog
