#include "io/capture_probe.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <string_view>
#include <system_error>
#include <utility>

#include "io/pcapng_format.hpp"
#include "io/zstd_source.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kFirstLook = 64 * 1024;
constexpr std::size_t kLongestLook = 4 * 1024 * 1024;
constexpr std::size_t kShortestPcapng = 28;
constexpr std::size_t kFramesSought = 1024 * 1024;  // for a Zstandard frame behind a damaged beginning
constexpr std::uint32_t kMicroMagic = 0xA1B2C3D4, kNanoMagic = 0xA1B23C4D;  // of classic pcap
constexpr const char* kRemedyNotCapture = "give a pcapng or pcap capture of a CAN bus (link type 227)";
constexpr const char* kRemedyParcel =
    "if it is a parcel: tramlog parcel --unpack FILE -o FOLDER, then name the captures in that folder";
constexpr const char* kZipArchive = "a ZIP archive";
constexpr const char* kMail = "a mail";

Error input_error(std::string what, const std::string& where, std::string remedy) {
  return {ErrorKind::input, std::move(what), where, std::move(remedy)};
}

Error system_error(int code, const std::string& path) {
  const bool missing = code == ENOENT || code == ENOTDIR || code == ENAMETOOLONG;
  if (missing) return input_error("no such file", path, "check the name");
  const std::string why = std::generic_category().message(code);
  if (code == EACCES || code == EPERM)
    return {ErrorKind::environment, "no permission to read", path,
            "change the file's mode, or run as its owner"};
  return {ErrorKind::environment, "cannot be opened (" + why + ")", path,
          "check the disk and the system's limits"};
}

struct Opened {
  std::unique_ptr<ByteSource> source;
  bool compressed = false;
};

/// Puts bytes that were read ahead before the rest.
class AfterPeek final : public ByteSource {
 public:
  AfterPeek(std::vector<std::uint8_t> first, std::unique_ptr<ByteSource> rest)
      : first_(std::move(first)), rest_(std::move(rest)) {}
  Chunk read(std::uint8_t* into, std::size_t size) override {
    if (used_ < first_.size()) {
      const std::size_t count = std::min(size, first_.size() - used_);
      std::copy_n(first_.data() + used_, count, into);
      used_ += count;
      return {Status::data, count};
    }
    const Chunk chunk = rest_->read(into, size);
    if (chunk.status == Status::gap) gap_ = rest_->gap();
    return chunk;
  }

 private:
  std::vector<std::uint8_t> first_;
  std::size_t used_ = 0;
  std::unique_ptr<ByteSource> rest_;
};

/// Up to `most` bytes in all.
void read_ahead(ByteSource& raw, std::vector<std::uint8_t>& first, std::size_t most) {
  std::size_t have = first.size();
  first.resize(most);
  while (have < most) {
    const auto chunk = raw.read(first.data() + have, most - have);
    if (chunk.status != ByteSource::Status::data) break;
    have += chunk.size;
  }
  first.resize(have);
}

/// Whether the file begins as a capture does: then it is none that was compressed.
bool begins_plain(Bytes bytes) {
  if (bytes.size() < 4) return true;
  const auto word = load_native<std::uint32_t>(bytes.data());
  for (const std::uint32_t magic : {pcapng::kSectionHeader, kMicroMagic, kNanoMagic})
    if (word == magic || swap_bytes(word) == magic) return true;
  return false;
}

/// The file, and the decompressor on top if its first bytes ask for it, or if these are damaged and whole frames follow.
Opened stack_sources(std::unique_ptr<ByteSource> raw) {
  std::vector<std::uint8_t> first;
  read_ahead(*raw, first, 4);
  bool compressed = ZstdSource::begins(first);
  if (!compressed && !begins_plain(first)) {
    read_ahead(*raw, first, kFramesSought);
    compressed = ZstdSource::holds_frame(first);
  }
  std::unique_ptr<ByteSource> source = std::make_unique<AfterPeek>(std::move(first), std::move(raw));
  if (compressed) source = std::make_unique<ZstdSource>(std::move(source));
  return {std::move(source), compressed};
}

bool is_pcapng(Bytes bytes, bool all_of_it) {
  const auto is_magic = [](std::uint32_t v) {
    return v == pcapng::kByteOrderMagic || swap_bytes(v) == pcapng::kByteOrderMagic;
  };
  if (load_native<std::uint32_t>(bytes.data()) == pcapng::kSectionHeader) return true;
  if (bytes.size() >= 12 && is_magic(load_native<std::uint32_t>(bytes.data() + 8))) return true;
  // A file whose beginning is lost: two blocks in a row are no accident.
  const std::size_t range = std::min(bytes.size(), kFirstLook);
  const auto found = pcapng::find_block(bytes.data(), bytes.size(), 0, range, all_of_it, std::nullopt);
  if (!found) return false;
  const std::size_t length =
      pcapng::plausible_block(bytes.data() + found->at, bytes.size() - found->at, found->swapped);
  const std::size_t next = found->at + length;
  return pcapng::plausible_block(bytes.data() + next, bytes.size() - next, found->swapped) > 0;
}

/// What the throwaway parser saw in the first bytes.
struct FirstLook {
  TimeNs start = kTimeLimit;
  bool packet = false;
  bool can = false;
  std::optional<std::uint16_t> other;
};

FirstLook look(Bytes bytes, CaptureFormat format) {
  BusTable buses;
  CaptureFileReader reader(std::make_unique<ByteWindow>(std::make_unique<MemorySource>(bytes),
                                                        std::min(bytes.size() + 1, kFirstLook)),
                           format, buses, 0, 0);
  FirstLook seen;
  int packets = 0;
  while (!reader.ended() && packets == 0) {
    for (const Event& event : reader.read(1)) {
      if (event.kind == EventKind::notice && (std::holds_alternative<Counters>(*event.notice) || std::holds_alternative<LinkChange>(*event.notice) ||
           std::holds_alternative<RecorderNote>(*event.notice)))
        seen.start = std::min(seen.start, event.time);
      if (event.kind != EventKind::frame && event.kind != EventKind::error) continue;
      ++packets;
      // A second packet long before the first: the first one's time is damaged. One long after statistics: theirs is.
      const bool far = seen.start > event.time + kHour || (packets == 1 && seen.start != kTimeLimit && event.time > seen.start + 24 * kHour);
      if (far) seen.start = event.time;
      seen.start = std::min(seen.start, event.time);
      if (packets == 2) break;
    }
  }
  seen.packet = packets > 0;
  seen.can = reader.parser().has_can();
  seen.other = reader.parser().other_link_type();
  return seen;
}

}  // namespace

std::string link_type_text(unsigned link_type) {
  struct Known {
    unsigned number;
    const char* name;
  };
  static constexpr Known kKnown[] = {
      {0, "loopback"},
      {1, "Ethernet"},
      {9, "PPP"},
      {101, "raw IP"},
      {105, "wireless LAN"},
      {113, "Linux cooked"},
      {127, "wireless LAN with radio header"},
      {147, "private use"},
      {189, "USB"},
      {190, "CAN 2.0B, an older layout"},
      {210, "FlexRay"},
      {212, "LIN"},
      {220, "USB"},
      {228, "IPv4"},
      {229, "IPv6"},
      {276, "Linux cooked"},
  };
  std::string text = "link type " + std::to_string(link_type);
  for (const Known& known : kKnown)
    if (known.number == link_type) text += std::string(" (") + known.name + ")";
  return text;
}

std::string known_content(Bytes bytes) {
  struct Mark {
    std::string_view bytes;
    const char* name;
  };
  using namespace std::string_view_literals;
  static constexpr Mark kMarks[] = {
      {"\xFF\xD8\xFF"sv, "a JPEG picture"},
      {"\x89PNG"sv, "a PNG picture"},
      {"GIF8"sv, "a GIF picture"},
      {"%PDF"sv, "a PDF document"},
      {"PK\x03\x04"sv, kZipArchive},
      {"\x7F\x45LF"sv, "a program"},
      {"SQLite format 3"sv, "an SQLite database"},
      {"\x1F\x8B"sv, "compressed with gzip"},
      {"\xFD\x37zXZ\0"sv, "compressed with xz"},
      {"BZh"sv, "compressed with bzip2"},
      {"7z\xBC\xAF\x27\x1C"sv, "a 7z archive"},
  };
  const std::string_view text(reinterpret_cast<const char*>(bytes.data()), bytes.size());
  for (const Mark& mark : kMarks)
    if (text.starts_with(mark.bytes)) return mark.name;
  const std::string_view head = text.substr(0, 512);
  const auto is_letter = [](char c) {
    return (c >= 0x20 && c < 0x7F) || c == '\n' || c == '\r' || c == '\t';
  };
  const auto letters = static_cast<std::size_t>(std::count_if(head.begin(), head.end(), is_letter));
  const bool readable = letters >= head.size() - head.size() / 8 && head.find('\0') == std::string_view::npos;
  if (readable && !head.empty()) return text.substr(0, 4096).find("MIME-Version:") != std::string_view::npos ? kMail : "text";
  const bool zeros = std::all_of(head.begin(), head.end(), [](char c) { return c == 0; });
  return zeros && !head.empty() ? "zeros" : "";
}

Result<ProbedCapture> probe_window(ByteWindow& window, const std::string& name, bool compressed, bool skip_gaps) {
  const std::string inside = compressed ? "unpacked content " : "";
  ProbedCapture probed;
  std::string lost_beginning;
  for (std::size_t want = PcapHeader::kBytes;;) {
    window.refill(want);
    const std::size_t have = window.available();
    const bool open = window.tail() == ByteWindow::Tail::open;
    const Bytes bytes(window.at(), have);
    if (have == 0 && skip_gaps && compressed && window.tail() == ByteWindow::Tail::gap) {
      window.pass_gap();  // the first frame is damaged, others follow
      lost_beginning = window.gap().reason;
      continue;
    }
    if (have == 0 && !lost_beginning.empty())
      return Error{ErrorKind::input, lost_beginning, name, "get an undamaged copy"};
    if (have == 0) {
      if (window.tail() == ByteWindow::Tail::gap)
        return Error{compressed ? ErrorKind::input : ErrorKind::environment, window.gap().reason, name,
                     compressed ? "get an undamaged copy" : "check the disk or the connection"};
      return input_error(compressed ? "nothing is in it" : "empty file", name, kRemedyNotCapture);
    }
    if (const std::string content = known_content(bytes); content.starts_with("compressed"))
      return input_error(inside + content, name, "unpack it first, or compress captures with Zstandard");
    const bool short_head = have < PcapHeader::kBytes;
    const PcapHeader pcap = short_head ? PcapHeader{} : PcapHeader::parse(bytes.data());
    const bool section = !short_head && is_pcapng(bytes, !open);
    if (short_head || (section && have < kShortestPcapng && !open)) {
      const bool begun =
          have >= 4 && (load_native<std::uint32_t>(bytes.data()) == pcapng::kSectionHeader ||
                        load_le32(bytes.data()) == 0xA1B2C3D4 || load_be32(bytes.data()) == 0xA1B2C3D4 ||
                        load_le32(bytes.data()) == 0xA1B23C4D || load_be32(bytes.data()) == 0xA1B23C4D);
      return input_error(
          inside + (begun || section ? "capture that ends inside its header" : "too short for a capture") +
              " (" + std::to_string(have) + " bytes)",
          name, kRemedyNotCapture);
    }
    const bool recognised = section || pcap.known;
    if (recognised) {
      probed.format = section ? CaptureFormat::pcapng : CaptureFormat::pcap;
      const FirstLook seen = look(bytes, probed.format);
      probed.start = seen.start;
      if (seen.packet) return probed;
      const bool whole = !open || have >= kLongestLook;
      if (whole || (!section && !seen.can)) {
        if (!seen.can && seen.other)
          return input_error(inside + "capture of " + link_type_text(*seen.other) + ", not of a CAN bus",
                             name, kRemedyNotCapture);
        return probed;
      }
    } else if (!open || have >= kFirstLook) {
      const std::string content = known_content(bytes);
      const std::string seems =
          content.empty() ? "no capture, its format is not known" : "no capture but " + content;
      return input_error(inside + seems, name, content == kZipArchive || content == kMail ? kRemedyParcel : kRemedyNotCapture);
    }
    // One more byte is enough to go on when it comes from a pipe; a file fills the window at once.
    want = std::min(have + 1 + have / 8, kLongestLook);
  }
}

Result<ProbedCapture> probe_capture(const std::string& path) {
  const bool standard_input = path == "-";
  const int descriptor = standard_input ? STDIN_FILENO : ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (descriptor < 0) return system_error(errno, path);
  const std::string name = standard_input ? "standard input" : path;
  auto file = std::make_unique<FileSource>(descriptor, !standard_input);
  struct stat status {};
  if (::fstat(descriptor, &status) != 0) return system_error(errno, name);
  if (S_ISDIR(status.st_mode)) return input_error("a directory, not a capture", name, "name the files in it");
  const bool regular = S_ISREG(status.st_mode);
  Opened opened = stack_sources(std::move(file));
  const bool reopen = regular && !standard_input;
  auto window =
      std::make_unique<ByteWindow>(std::move(opened.source), reopen ? kFirstLook : ByteWindow::kCapacity);
  auto probed = probe_window(*window, name, opened.compressed, reopen);
  if (!probed) return probed;
  probed->path = path;
  probed->regular = regular;
  probed->device = status.st_dev;
  probed->inode = status.st_ino;
  if (!reopen) probed->stream = std::move(window);
  return probed;
}

Result<std::unique_ptr<ByteWindow>> open_probed(ProbedCapture& capture) {
  if (capture.stream) return std::move(capture.stream);
  const int descriptor = ::open(capture.path.c_str(), O_RDONLY | O_CLOEXEC);
  if (descriptor < 0) return system_error(errno, capture.path);
  Opened opened = stack_sources(std::make_unique<FileSource>(descriptor, true));
  return std::make_unique<ByteWindow>(std::move(opened.source));
}

}  // namespace tramlog
