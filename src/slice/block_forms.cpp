#include "slice/block_forms.hpp"

#include <cstring>
#include <string_view>

#include "base/utf8.hpp"
#include "io/pcapng_format.hpp"
#include "io/pcapng_scan.hpp"

namespace tramlog {
namespace {

constexpr std::uint8_t kMicroseconds = 6;
constexpr std::size_t kTimeAt = 12;  // in all timed blocks: the upper half, then the lower
constexpr std::size_t kLongestText = 1000;

/// One block in the making.
class Form {
 public:
  Form(std::vector<std::uint8_t>& out, std::uint32_t type, bool swapped) : out_(out), swapped_(swapped) {
    out_.clear();
    put(type);
    put(std::uint32_t{0});
  }
  template <class T>
  void put(T value) {
    if (swapped_ && sizeof(T) > 1) value = static_cast<T>(swap(value));
    const auto* bytes = reinterpret_cast<const std::uint8_t*>(&value);
    out_.insert(out_.end(), bytes, bytes + sizeof value);
  }
  void put_bytes(Bytes bytes) {
    out_.insert(out_.end(), bytes.begin(), bytes.end());
    while (out_.size() % 4 != 0) out_.push_back(0);
  }
  void option(std::uint16_t code, Bytes value) {
    put(code);
    put(static_cast<std::uint16_t>(value.size()));
    put_bytes(value);
  }
  void option(std::uint16_t code, std::uint64_t value) {
    put(code);
    put(std::uint16_t{sizeof value});
    put(value);
  }
  void text(std::uint16_t code, std::string_view value) {
    option(code, Bytes{reinterpret_cast<const std::uint8_t*>(value.data()), value.size()});
  }
  void time(std::uint64_t ticks) {
    put(static_cast<std::uint32_t>(ticks >> 32));
    put(static_cast<std::uint32_t>(ticks));
  }
  void end_options() { put(std::uint32_t{0}); }
  void close() {
    put(static_cast<std::uint32_t>(out_.size() + 4));
    std::copy(out_.end() - 4, out_.end(), out_.begin() + 4);
  }

 private:
  static std::uint16_t swap(std::uint16_t v) { return swap_bytes(v); }
  static std::uint32_t swap(std::uint32_t v) { return swap_bytes(v); }
  static std::uint64_t swap(std::uint64_t v) { return swap_bytes(v); }
  static std::uint8_t swap(std::uint8_t v) { return v; }

  std::vector<std::uint8_t>& out_;
  bool swapped_;
};

}  // namespace

void put_section(std::vector<std::uint8_t>& out, bool swapped) {
  Form form(out, pcapng::kSectionHeader, swapped);
  form.put(pcapng::kByteOrderMagic);
  form.put(std::uint16_t{1});  // version 1.0
  form.put(std::uint16_t{0});
  form.put(~std::uint64_t{0});  // section length not told
  form.close();
}

void put_interface(std::vector<std::uint8_t>& out, const InterfaceWords& words, bool swapped) {
  Form form(out, pcapng::kInterfaceDescription, swapped);
  form.put(words.link_type);
  form.put(std::uint16_t{0});
  form.put(words.snap);
  if (!words.name.empty()) form.text(pcapng::kIfName, words.name);
  form.option(pcapng::kIfTsResol, Bytes{&words.resolution, 1});
  if (words.bitrate != 0) form.option(pcapng::kIfSpeed, words.bitrate);
  if (words.offset_s != 0) form.option(pcapng::kIfTsOffset, static_cast<std::uint64_t>(words.offset_s));
  form.end_options();
  form.close();
}

void put_packet(std::vector<std::uint8_t>& out, const PcapRecordWords& record, std::uint8_t resolution) {
  const std::uint64_t of_second = resolution == kMicroseconds ? 1'000'000 : 1'000'000'000;
  Form form(out, pcapng::kEnhancedPacket, false);
  form.put(std::uint32_t{0});
  form.time(record.seconds * of_second + record.fraction);
  form.put(static_cast<std::uint32_t>(record.packet.size()));
  form.put(record.original);
  form.put_bytes(record.packet);
  form.close();
}

void put_note(std::vector<std::uint8_t>& out, TimeNs time, const RecorderNote& note, bool swapped) {
  Form form(out, pcapng::kRecorderNote, swapped);
  form.put(static_cast<std::uint32_t>(note.kind));
  form.time(static_cast<std::uint64_t>(time));
  form.put(pcapng::kNoInterface);
  if (!note.text.empty()) form.text(pcapng::kOptComment, cut_text(note.text, kLongestText));
  if (note.number != 0) form.option(pcapng::kNoteNumber, note.number);
  if (note.boot != 0) form.option(pcapng::kNoteBoot, note.boot);
  if (note.span != 0) form.option(pcapng::kNoteSpan, static_cast<std::uint64_t>(note.span));
  form.end_options();
  form.close();
}

TimeWords time_words(Bytes block) {
  TimeWords words{};
  std::memcpy(words.data(), block.data() + kTimeAt, words.size());
  return words;
}

void set_time_words(std::vector<std::uint8_t>& block, const TimeWords& words) {
  std::memcpy(block.data() + kTimeAt, words.data(), words.size());
}

void set_time(std::vector<std::uint8_t>& block, std::uint64_t ticks, bool swapped) {
  std::uint32_t halves[2] = {static_cast<std::uint32_t>(ticks >> 32), static_cast<std::uint32_t>(ticks)};
  if (swapped)
    for (std::uint32_t& half : halves) half = swap_bytes(half);
  std::memcpy(block.data() + kTimeAt, halves, sizeof halves);
}

Lane lane_of(Bytes block, bool swapped) {
  const std::uint32_t type = pcapng::load32(block.data(), swapped);
  std::uint32_t interface = pcapng::load32(block.data() + 8, swapped);
  if (type == pcapng::kObsoletePacket) interface = pcapng::load16(block.data() + 8, swapped);
  if (type == pcapng::kRecorderNote) interface = pcapng::kNoInterface;
  // Packets of both kinds are one lane; the types themselves are small, but for the note's.
  const std::uint32_t kind = is_packet(block, swapped) ? pcapng::kEnhancedPacket : type;
  return std::uint64_t{kind} << 32 | interface;
}

std::optional<std::uint32_t> interface_of(Lane lane) {
  const auto interface = static_cast<std::uint32_t>(lane);
  return interface == pcapng::kNoInterface ? std::nullopt : std::optional(interface);
}

bool is_packet(Bytes block, bool swapped) {
  const std::uint32_t type = pcapng::load32(block.data(), swapped);
  return type == pcapng::kEnhancedPacket || type == pcapng::kObsoletePacket || type == pcapng::kSimplePacket;
}

}  // namespace tramlog
