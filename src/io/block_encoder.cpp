#include "io/block_encoder.hpp"

#include <algorithm>
#include <string_view>

#include "base/utf8.hpp"
#include "io/pcapng_format.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kMaxPayload = 64;
constexpr std::size_t kLongestName = 1024, kLongestText = 1000;
constexpr std::uint8_t kFdFlagOnFile = 0x04;
constexpr std::uint8_t kBrsFlagOnFile = 0x01;
constexpr std::uint8_t kEsiFlagOnFile = 0x02;

template <class T>
void put_le(std::uint8_t*& at, T value) {
  for (std::size_t i = 0; i < sizeof value; ++i) *at++ = static_cast<std::uint8_t>(value >> (8 * i));
}

void put_be32(std::uint8_t*& at, std::uint32_t value) {
  for (int shift = 24; shift >= 0; shift -= 8) *at++ = static_cast<std::uint8_t>(value >> shift);
}

void put_time(std::uint8_t*& at, TimeNs time) {
  const auto units = static_cast<std::uint64_t>(time);
  put_le(at, static_cast<std::uint32_t>(units >> 32));
  put_le(at, static_cast<std::uint32_t>(units));
}

void put_option_u64(std::uint8_t*& at, std::uint16_t code, std::uint64_t value) {
  put_le(at, code);
  put_le(at, std::uint16_t{8});
  put_le(at, value);
}

void put_text(std::uint8_t*& at, std::uint16_t code, std::string_view text) {
  put_le(at, code);
  put_le(at, static_cast<std::uint16_t>(text.size()));
  at = std::copy_n(text.data(), text.size(), at);
  for (std::size_t i = text.size(); i % 4 != 0; ++i) *at++ = 0;
}

std::uint32_t id_on_file(const Event& frame) {
  std::uint32_t id = frame.id;
  if (frame.kind == EventKind::error) return (id & 0x1FFFFFFF) | pcapng::kCanError;
  if (frame.flags & kExtendedId) id |= pcapng::kCanExtended;
  if (frame.flags & kRemote) id |= pcapng::kCanRemote;
  return id;
}

}  // namespace

// Room for one block; the caller fills it from the returned place and ends it with close().
std::uint8_t* BlockEncoder::open(std::size_t most) {
  begin_ = out_.size();
  out_.resize(begin_ + most);
  return out_.data() + begin_;
}

void BlockEncoder::close(std::uint8_t* end) {
  const auto length = static_cast<std::uint32_t>(end - (out_.data() + begin_) + 4);
  std::uint8_t* at = out_.data() + begin_ + 4;
  put_le(at, length);
  put_le(end, length);
  out_.resize(begin_ + length);
}

void BlockEncoder::section() {
  std::uint8_t* at = open(28);
  put_le(at, pcapng::kSectionHeader);
  put_le(at, std::uint32_t{0});
  put_le(at, pcapng::kByteOrderMagic);
  put_le(at, std::uint16_t{1});  // version 1.0
  put_le(at, std::uint16_t{0});
  put_le(at, ~std::uint64_t{0});  // section length not told
  close(at);
}

void BlockEncoder::bus(const BusInfo& bus) {
  const std::string_view name = std::string_view(bus.name).substr(0, kLongestName);
  std::uint8_t* at = open(80 + name.size());
  put_le(at, pcapng::kInterfaceDescription);
  put_le(at, std::uint32_t{0});
  put_le(at, pcapng::kLinkTypeSocketCan);
  put_le(at, std::uint16_t{0});
  put_le(at, std::uint32_t{0});  // snap length: none
  put_text(at, pcapng::kIfName, name);
  put_le(at, pcapng::kIfTsResol);
  put_le(at, std::uint16_t{1});
  put_le(at, std::uint32_t{9});  // nanoseconds, and three bytes of padding
  if (bus.bitrate != 0) put_option_u64(at, pcapng::kIfSpeed, bus.bitrate);
  put_le(at, std::uint32_t{0});  // end of options
  close(at);
}

void BlockEncoder::frame(const Event& frame, std::uint64_t lost_before) {
  const bool remote = frame.kind == EventKind::frame && (frame.flags & kRemote);
  const std::uint8_t len = std::min<std::uint8_t>(frame.len, kMaxPayload);
  const std::uint32_t payload = remote || frame.data == nullptr ? 0 : len;
  std::uint8_t* at = open(128 + kMaxPayload);
  put_le(at, pcapng::kEnhancedPacket);
  put_le(at, std::uint32_t{0});
  put_le(at, static_cast<std::uint32_t>(frame.bus));
  put_time(at, frame.time);
  put_le(at, 8 + payload);
  put_le(at, 8 + payload);
  put_be32(at, id_on_file(frame));
  *at++ = len;
  std::uint8_t fd = 0;
  if (frame.kind == EventKind::frame && (frame.flags & kFd)) {
    fd = kFdFlagOnFile;
    if (frame.flags & kBitRateSwitch) fd |= kBrsFlagOnFile;
    if (frame.flags & kErrorState) fd |= kEsiFlagOnFile;
  }
  *at++ = fd;
  *at++ = 0;
  *at++ = 0;
  if (payload != 0) at = std::copy_n(frame.data, payload, at);
  for (std::uint32_t i = payload; i % 4 != 0; ++i) *at++ = 0;
  const bool outbound = frame.flags & kOutbound;
  if (outbound) {
    put_le(at, pcapng::kEpbFlags);
    put_le(at, std::uint16_t{4});
    put_le(at, std::uint32_t{2});
  }
  if (lost_before != 0) put_option_u64(at, pcapng::kEpbDropCount, lost_before);
  if (outbound || lost_before != 0) put_le(at, std::uint32_t{0});
  close(at);
}

void BlockEncoder::counters(BusIndex bus, TimeNs time, const Counters& counters) {
  std::uint8_t* at = open(80);
  put_le(at, pcapng::kInterfaceStatistics);
  put_le(at, std::uint32_t{0});
  put_le(at, static_cast<std::uint32_t>(bus));
  put_time(at, time);
  if (counters.received) put_option_u64(at, pcapng::kIsbIfRecv, *counters.received);
  if (counters.interface_dropped) put_option_u64(at, pcapng::kIsbIfDrop, *counters.interface_dropped);
  if (counters.system_dropped) put_option_u64(at, pcapng::kIsbOsDrop, *counters.system_dropped);
  put_le(at, std::uint32_t{0});
  close(at);
}

void BlockEncoder::link(BusIndex bus, TimeNs time, LinkState state) {
  std::uint8_t* at = open(48);
  put_le(at, pcapng::kInterfaceStatistics);
  put_le(at, std::uint32_t{0});
  put_le(at, static_cast<std::uint32_t>(bus));
  put_time(at, time);
  put_le(at, pcapng::kIsbLinkState);
  put_le(at, std::uint16_t{1});
  put_le(at, static_cast<std::uint32_t>(state));
  put_le(at, std::uint32_t{0});
  close(at);
}

void BlockEncoder::note(BusIndex bus, TimeNs time, const RecorderNote& note) {
  const std::string_view text = cut_text(note.text, kLongestText);
  const bool known = note.kind == RecorderNote::Kind::known;
  const std::string_view data = std::string_view(note.data).substr(0, RecorderNote::kMostData);
  std::uint8_t* at = open(128 + text.size() + data.size());
  put_le(at, pcapng::kRecorderNote);
  put_le(at, std::uint32_t{0});
  put_le(at, static_cast<std::uint32_t>(note.kind));
  put_time(at, time);
  put_le(at, note.of_bus ? static_cast<std::uint32_t>(bus) : pcapng::kNoInterface);
  if (!text.empty()) put_text(at, pcapng::kOptComment, text);
  if (note.number != 0) put_option_u64(at, pcapng::kNoteNumber, note.number);
  if (note.boot != 0) put_option_u64(at, pcapng::kNoteBoot, note.boot);
  if (note.span != 0) put_option_u64(at, pcapng::kNoteSpan, static_cast<std::uint64_t>(note.span));
  if (known) put_option_u64(at, pcapng::kNoteAddress, note.address);
  if (!data.empty()) put_text(at, pcapng::kNoteData, data);
  put_le(at, std::uint32_t{0});
  close(at);
}

}  // namespace tramlog
