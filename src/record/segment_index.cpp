#include "record/segment_index.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zstd.h>

#include <cerrno>
#include <charconv>
#include <optional>

#include "base/digest.hpp"
#include "io/text_file.hpp"
#include "record/durable.hpp"
#include "record/segment_name.hpp"

namespace tramlog {
namespace {

constexpr std::string_view kFormat = "tramlog.index/1";
constexpr std::size_t kLargestFile = 16 * 1024 * 1024;
constexpr std::size_t kFrameHead = 18;  // the longest frame header (RFC 8878, 3.1.1.1)

/// FNV-1a, 64 bits: finds damage and mix-ups.
std::uint64_t checksum(std::string_view text) {
  Digest digest;
  digest.add(text);
  return digest.value();
}

template <class T>
bool take_number(std::string_view& rest, T& value, char behind) {
  const auto [end, error] = std::from_chars(rest.data(), rest.data() + rest.size(), value);
  if (error != std::errc{} || end == rest.data() + rest.size() || *end != behind) return false;
  rest.remove_prefix(static_cast<std::size_t>(end - rest.data()) + 1);
  return true;
}

std::optional<SegmentIndex> parse(std::string_view text) {
  const std::size_t line = text.find('\n');
  if (line == std::string_view::npos) return std::nullopt;
  const std::string_view body = text.substr(line + 1);
  SegmentIndex index;
  for (std::string_view rest = body; !rest.empty();) {
    IndexFrame frame;
    if (!take_number(rest, frame.packed_offset, ' ') || !take_number(rest, frame.packed_bytes, ' ') ||
        !take_number(rest, frame.plain_offset, ' ') || !take_number(rest, frame.plain_bytes, ' '))
      return std::nullopt;
    if (rest.starts_with("- - ")) {
      rest.remove_prefix(4);
    } else {
      frame.timed = true;
      if (!take_number(rest, frame.first, ' ') || !take_number(rest, frame.last, ' ') ||
          frame.first > frame.last)
        return std::nullopt;
    }
    if (!take_number(rest, frame.packets, '\n')) return std::nullopt;
    if (frame.packed_offset != index.packed_bytes() || frame.plain_offset != index.plain_bytes() ||
        frame.packed_bytes == 0 || frame.packed_bytes > INT64_MAX / 2 || frame.plain_bytes > INT64_MAX / 2 ||
        index.packed_bytes() > INT64_MAX / 2 || index.plain_bytes() > INT64_MAX / 2)
      return std::nullopt;
    index.frames.push_back(frame);
  }
  // Whatever a number may look like otherwise, the text is what would have been written.
  if (index_text(index) != text) return std::nullopt;
  return index;
}

/// Whether the file holds Zstandard frames just there.
bool agrees(int descriptor, const SegmentIndex& index) {
  struct stat status {};
  if (::fstat(descriptor, &status) != 0 || static_cast<std::uint64_t>(status.st_size) != index.packed_bytes())
    return false;
  for (const IndexFrame& frame : index.frames) {
    std::uint8_t head[kFrameHead];
    const ssize_t got = ::pread(descriptor, head, sizeof head, static_cast<off_t>(frame.packed_offset));
    if (got < 4) return false;
    const unsigned long long size = ZSTD_getFrameContentSize(head, static_cast<std::size_t>(got));
    if (size == ZSTD_CONTENTSIZE_ERROR || (size != ZSTD_CONTENTSIZE_UNKNOWN && size != frame.plain_bytes))
      return false;
  }
  return true;
}

Error unusable(const char* what, const std::string& path) {
  return {ErrorKind::input, what, path, "it can be built anew from the segment"};
}

}  // namespace

std::string index_path(const std::string& packed_path) {
  return packed_path + std::string(kIndexEnding);
}

std::string index_text(const SegmentIndex& index) {
  std::string body;
  for (const IndexFrame& frame : index.frames) {
    body += fmt::format("{} {} {} {} ", frame.packed_offset, frame.packed_bytes, frame.plain_offset,
                        frame.plain_bytes);
    body += frame.timed ? fmt::format("{} {} ", frame.first, frame.last) : "- - ";
    body += fmt::format("{}\n", frame.packets);
  }
  return fmt::format("{} {:016x} {}\n", kFormat, checksum(body), index.frames.size()) + body;
}

Result<SegmentIndex> read_index(const std::string& packed_path) {
  const std::string path = index_path(packed_path);
  auto text = read_text_file(path, kLargestFile);
  if (!text) return text.error();
  auto index = parse(*text);
  if (!index) return unusable("damaged index of a segment", path);
  const OwnedFile file(::open(packed_path.c_str(), O_RDONLY | O_CLOEXEC));
  if (!file.is_open()) return disk_error("cannot open the file", errno, packed_path);
  if (!agrees(file.get(), *index)) return unusable("the index is not that of the segment beside it", path);
  return std::move(*index);
}

Result<bool> write_index(const std::string& packed_path, const SegmentIndex& index) {
  return replace_file(index_path(packed_path), index_text(index));
}

}  // namespace tramlog
