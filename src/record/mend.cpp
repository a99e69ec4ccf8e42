#include "record/mend.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <memory>

#include "io/pcapng_format.hpp"
#include "io/pcapng_scan.hpp"
#include "io/zstd_source.hpp"
#include "record/block_tally.hpp"
#include "record/durable.hpp"
#include "record/segment_index.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kWindow = 1024 * 1024;

/// The walk over a whole plain segment.
struct Walked {
  bool readable = true;
  std::uint64_t bytes = 0;
  std::uint64_t whole = 0;     // up to here whole blocks only
  bool resumed = false;        // blocks follow behind damage
  std::uint64_t contents = 0;  // blocks besides section and interfaces
  bool zeros = true;           // nothing else behind the whole blocks
  bool begins_as_section = false;
};

Walked walk(int descriptor) {
  Walked walked;
  BlockTally tally;
  std::vector<std::uint8_t> window(kWindow);
  std::size_t held = 0;
  for (bool ended = false; !ended;) {
    const std::int64_t got = read_up_to(descriptor, window.data() + held, window.size() - held);
    if (got < 0) {
      walked.readable = false;
      return walked;
    }
    if (walked.bytes == 0 && got > 0) {
      const std::uint8_t section[4] = {0x0A, 0x0D, 0x0D, 0x0A};  // reads the same both ways
      walked.begins_as_section =
          std::memcmp(window.data(), section, std::min<std::size_t>(4, static_cast<std::size_t>(got))) == 0;
    }
    held += static_cast<std::size_t>(got);
    walked.bytes += static_cast<std::uint64_t>(got);
    ended = held < window.size();
    const std::uint64_t from = walked.bytes - held;  // offset of the window
    const std::size_t taken = tally.take(Bytes(window.data(), held), ended);
    const std::uint64_t whole = tally.whole_until();
    const std::size_t behind = whole > from ? static_cast<std::size_t>(whole - from) : 0;
    for (std::size_t i = behind; i < taken && walked.zeros; ++i) walked.zeros = window[i] == 0;
    std::memmove(window.data(), window.data() + taken, held - taken);
    held -= taken;
  }
  walked.whole = tally.whole_until();
  walked.resumed = tally.damaged_in_the_middle();
  walked.contents = tally.contents();
  return walked;
}

/// Whether the file ends with a whole block that is more than a head: then nothing is unfinished, and it need
/// not be read.
bool ends_whole(int descriptor, std::uint64_t bytes) {
  std::uint8_t tail[4];
  if (bytes < pcapng::kShortestBlock || ::pread(descriptor, tail, 4, static_cast<off_t>(bytes - 4)) != 4)
    return false;
  const std::uint32_t length = pcapng::load32(tail, false);
  if (length < pcapng::kShortestBlock || length > BlockTally::kLongestBlock || length > bytes) return false;
  std::vector<std::uint8_t> block(length);
  if (::pread(descriptor, block.data(), length, static_cast<off_t>(bytes - length)) !=
      static_cast<ssize_t>(length))
    return false;
  const std::uint32_t type = pcapng::load32(block.data(), false);
  return pcapng::plausible_block(block.data(), length, false) == length && type != pcapng::kSectionHeader &&
         type != pcapng::kInterfaceDescription;
}

class Mending {
 public:
  Mending(const std::string& folder, FolderListing& listing) : folder_(folder), listing_(listing) {}
  std::vector<std::string> run();

 private:
  std::string path(const std::string& name) const { return folder_ + "/" + name; }
  void tell(const std::string& name, const std::string& text) { told_.push_back(name + ": " + text); }
  bool remove(const std::string& name, const std::string& why);
  void remove_packed(ListedSegment& segment, const std::string& why);
  void settle(ListedSegment& segment);
  void mend_plain(ListedSegment& segment);

  const std::string& folder_;
  FolderListing& listing_;
  std::vector<std::string> told_;
};

bool Mending::remove(const std::string& name, const std::string& why) {
  const int code = remove_file(path(name));
  tell(name, code == 0 ? why + ", removed"
                       : fmt::format("{}, but cannot be removed ({})", why, std::strerror(code)));
  return code == 0;
}

void Mending::remove_packed(ListedSegment& segment, const std::string& why) {
  const std::string name = segment_name(*segment.packed);
  if (!remove(name, why)) return;
  remove_file(index_path(path(name)));
  std::erase_if(segment.beside, [](const FileInFolder& file) { return file.name.ends_with(kIndexEnding); });
  segment.has_index = false;
  segment.packed.reset();
  segment.packed_bytes = 0;
}

/// A segment that is there both plain and packed.
void Mending::settle(ListedSegment& segment) {
  const std::string plain = segment_name(*segment.plain), packed = segment_name(*segment.packed);
  const OwnedFile original(::open(path(plain).c_str(), O_RDONLY | O_CLOEXEC));
  const int packed_file = ::open(path(packed).c_str(), O_RDONLY | O_CLOEXEC);
  ZstdSource source(std::make_unique<FileSource>(packed_file, true));
  if (!original.is_open() || packed_file < 0)
    return tell(plain, "is there plain and packed, and one cannot be read");
  const Walked walked = walk(original.get());
  if (!walked.readable || ::lseek(original.get(), 0, SEEK_SET) != 0)
    return tell(plain, "is there plain and packed, and cannot be read");
  // Of a plain one that was cut short only whole blocks count.
  const std::uint64_t plain_bytes = walked.resumed ? walked.bytes : walked.whole;

  std::vector<std::uint8_t> unpacked(kWindow), same(kWindow);
  std::uint64_t packed_bytes = 0, alike = 0;
  for (bool equal = true;;) {
    const auto chunk = source.read(unpacked.data(), unpacked.size());
    if (chunk.status == ByteSource::Status::end) break;
    if (chunk.status == ByteSource::Status::gap)
      return remove_packed(segment, "a damaged copy of the plain segment");
    packed_bytes += chunk.size;
    if (!equal) continue;
    const std::int64_t got = read_up_to(original.get(), same.data(), chunk.size);
    if (got < 0) return tell(plain, "is there plain and packed, and cannot be read");
    const auto differ = std::mismatch(same.begin(), same.begin() + got, unpacked.begin()).first;
    alike += static_cast<std::uint64_t>(differ - same.begin());
    equal = alike == packed_bytes;
  }
  if (alike >= plain_bytes && packed_bytes >= plain_bytes) {
    if (remove(plain, "is there packed too")) {
      segment.plain.reset();
      segment.plain_bytes = 0;
    }
  } else if (alike == packed_bytes) {
    remove_packed(segment, "holds less than the plain segment");
  } else {
    tell(plain, "is there plain and packed, and both are sound and differ; both stay");
  }
}

void Mending::mend_plain(ListedSegment& segment) {
  const std::string name = segment_name(*segment.plain);
  const OwnedFile file(::open(path(name).c_str(), O_RDONLY | O_CLOEXEC));
  if (!file.is_open()) return tell(name, fmt::format("cannot be read ({})", std::strerror(errno)));
  if (ends_whole(file.get(), segment.plain_bytes)) return;
  const Walked walked = walk(file.get());
  if (!walked.readable) return tell(name, "cannot be read to its end");
  if (walked.resumed) return tell(name, "damaged in the middle, left as it is");
  if (walked.contents == 0) {
    // Something else altogether is not ours to remove.
    if (walked.bytes > 0 && walked.whole == 0 && !walked.zeros && !walked.begins_as_section)
      return tell(name, "is no recording, left as it is");
    if (remove(name,
               walked.bytes == 0 ? "empty" : fmt::format("nothing but a header in {} bytes", walked.bytes)))
      segment.plain.reset();
    return;
  }
  if (walked.whole == walked.bytes) return;
  const OwnedFile cut(::open(path(name).c_str(), O_WRONLY | O_CLOEXEC));
  if (!cut.is_open() || ::ftruncate(cut.get(), static_cast<off_t>(walked.whole)) != 0 ||
      ::fsync(cut.get()) != 0)
    return tell(name, fmt::format("ends inside a block, but cannot be cut back ({})", std::strerror(errno)));
  tell(name, fmt::format("{} bytes of an unfinished block cut off", walked.bytes - walked.whole));
  segment.plain_bytes = walked.whole;
}

std::vector<std::string> Mending::run() {
  for (const std::string& name : listing_.parts) remove(name, "unfinished");
  for (auto& [key, segment] : listing_.segments) {
    if (segment.plain && segment.packed) settle(segment);
    if (segment.plain && !segment.packed) mend_plain(segment);
  }
  for (const std::string& name : listing_.orphans) remove(name, "belongs to no segment");
  for (auto it = listing_.segments.begin(); it != listing_.segments.end();) {
    if (it->second.plain || it->second.packed) {
      ++it;
      continue;
    }
    for (const FileInFolder& file : it->second.beside) remove(file.name, "belongs to no segment");
    it = listing_.segments.erase(it);
  }
  for (const std::string& name : listing_.duplicates)
    tell(name, "another file has these numbers; left alone");
  if (!told_.empty()) sync_folder(folder_);
  return std::move(told_);
}

}  // namespace

std::vector<std::string> mend_folder(const std::string& folder, FolderListing& listing) {
  return Mending(folder, listing).run();
}

}  // namespace tramlog
