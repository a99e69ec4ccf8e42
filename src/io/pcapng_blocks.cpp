// The blocks of pcapng one by one; the frame of each (type, lengths) has been checked.
#include <algorithm>
#include <utility>

#include "base/utf8.hpp"
#include "io/pcapng_format.hpp"
#include "io/pcapng_parser.hpp"
#include "io/socketcan_packet.hpp"

namespace tramlog {
namespace {

using namespace pcapng;

constexpr std::uint8_t kMicroseconds = 6;  // if_tsresol where there is none
constexpr std::uint8_t kNanoseconds = 9;
constexpr std::uint32_t kDirectionMask = 3, kDirectionOutbound = 2;
constexpr std::uint16_t kDropsUnknown = 0xFFFF;  // of the obsolete packet block
constexpr std::uint16_t kLongestNote = 1000;      // bytes of text
constexpr std::size_t kMostAssumed = 8;          // a damaged interface number must not invent hundreds

/// The next option, or nothing at the end; `broken` if it runs over the end.
struct Option {
  std::uint16_t code = kOptEnd;
  std::uint16_t length = 0;
  const std::uint8_t* value = nullptr;
};

class Options {
 public:
  Options(const std::uint8_t* at, const std::uint8_t* end, bool swapped)
      : at_(at), end_(end), swapped_(swapped) {}

  bool next(Option& option) {
    if (end_ - at_ < 4) {
      broken_ = at_ != end_;
      return false;
    }
    option.code = load16(at_, swapped_);
    option.length = load16(at_ + 2, swapped_);
    option.value = at_ + 4;
    if (option.code == kOptEnd) return false;
    if (padded(option.length) > static_cast<std::size_t>(end_ - option.value)) {
      broken_ = true;
      return false;
    }
    at_ = option.value + padded(option.length);
    return true;
  }
  bool broken() const { return broken_; }

 private:
  const std::uint8_t* at_;
  const std::uint8_t* end_;
  bool swapped_;
  bool broken_ = false;
};

std::string numbered_name(std::size_t index) {
  return "bus" + std::to_string(index);
}

}  // namespace

void PcapngParser::handle(EventBatch& batch, const std::uint8_t* block, std::size_t length) {
  switch (load32(block)) {
    case kInterfaceDescription:
      return interface_block(batch, block, length);
    case kEnhancedPacket:
      return enhanced_packet(batch, block, length);
    case kInterfaceStatistics:
      return statistics_block(batch, block, length);
    case kRecorderNote:
      return note_block(batch, block, length);
    case kSimplePacket:
      return simple_packet(batch, block, length);
    case kObsoletePacket:
      return obsolete_packet(batch, block, length);
    default:
      // Not ours to read. But a packet or an interface whose type was hit must not vanish without a word.
      if (looks_like_interface(block, length, swapped_)) {
        rescue_interface(batch, block, length);
      } else if (looks_like_packet(block, length, swapped_, interfaces_.size())) {
        tell_damage(batch, window_.offset(), length, "a packet with a damaged type");
      }
  }
}

void PcapngParser::rescue_interface(EventBatch& batch, const std::uint8_t* block, std::size_t length) {
  tell_damage(batch, window_.offset(), 4, "interface description with a damaged type");
  interface_block(batch, block, length);
}

/// A block of an interface that nothing told of; or that is itself what should have told of it.
void PcapngParser::no_interface(EventBatch& batch, std::size_t length, const char* reason) {
  const std::uint8_t* block = window_.at();
  if (looks_like_interface(block, length, swapped_)) return rescue_interface(batch, block, length);
  if (sink_ != nullptr) sink_->undescribed();
  tell_damage(batch, window_.offset(), length, reason);
}

void PcapngParser::interface_block(EventBatch& batch, const std::uint8_t* block, std::size_t length) {
  if (length < 20) {
    tell_damage(batch, window_.offset(), length, "interface description that is too short");
    interface_may_be_lost_ = true;
    return;
  }
  if (interfaces_.size() >= kMostInterfaces) {
    tell_damage(batch, window_.offset(), length, "more interfaces than can be");
    return;
  }
  if (described_ahead_) return;
  InterfaceWords words;
  words.link_type = load16(block + 8);
  words.snap = load32(block + 12);
  words.resolution = kMicroseconds;
  bool whole = load32(block) == kInterfaceDescription && load32(block + length - 4) == length;
  Options options(block + 16, block + length - 4, swapped_);
  for (Option option; options.next(option);) {
    if (option.code == kIfName) {
      const auto* text = reinterpret_cast<const char*>(option.value);
      words.name.assign(text, std::min<std::size_t>(option.length, BusTable::kLongestName));
      words.name.resize(std::min(words.name.find('\0'), words.name.size()));
    } else if (option.code == kIfSpeed && option.length == 8) {
      words.bitrate = load64(option.value);
    } else if (option.code == kIfTsResol && option.length >= 1) {
      words.resolution = option.value[0];
    } else if (option.code == kIfTsOffset && option.length == 8) {
      words.offset_s = static_cast<std::int64_t>(load64(option.value));
    }
  }
  if (options.broken()) {
    // The rest of the options is gone; without a resolution every time would be wrong, so the usual one it
    // is.
    if (words.resolution == kMicroseconds) words.resolution = kNanoseconds;
    whole = false;
    tell_damage(batch, window_.offset(), length, "interface description with damaged options");
  }
  add_interface(batch, std::move(words), whole ? Bytes(block, length) : Bytes());
}

void PcapngParser::add_interface(EventBatch& batch, InterfaceWords words, Bytes block) {
  if (sink_ != nullptr) sink_->interface(block, words, swapped_);
  Interface added;
  added.can = words.link_type == kLinkTypeSocketCan;
  if (!added.can && !other_link_type_) other_link_type_ = words.link_type;
  added.snap = words.snap;
  added.scale = TickScale(words.resolution, words.offset_s);
  if (added.can) {
    const BusInfo info{words.name.empty() ? numbered_name(interfaces_.size()) : words.name, words.bitrate};
    const auto place = buses_.place(info);
    if (!place) {
      tell_damage(batch, window_.offset(), 0, "more buses than can be, their packets are not read");
      added.can = false;
    } else {
      has_can_ = true;
      added.bus = place->index;
      if (place->announce) batch.add_notice(last_time_, place->index, info);
    }
  }
  added.words = std::move(words);
  interfaces_.push_back(std::move(added));
}

/// The next interface was described in bytes that are lost: as in the section before, else as the recorder
/// does it.
void PcapngParser::assume_interface(EventBatch& batch) {
  const std::size_t index = interfaces_.size();
  InterfaceWords assumed;
  std::string reason = "description of interface " + std::to_string(index) + " is lost: ";
  if (index < previous_.size()) {
    assumed = previous_[index].words;
    reason += "taken as in the section before";
  } else {
    reason += "taken as CAN with nanoseconds";
  }
  tell_damage(batch, window_.offset(), 0, std::move(reason));
  add_interface(batch, std::move(assumed), {});
}

/// The block is used all the same, without the options that do not hold.
void PcapngParser::damaged_options(EventBatch& batch, std::size_t bytes, std::size_t options_at,
                                   const char* reason) {
  broken_options_ = options_at;
  tell_damage(batch, window_.offset(), bytes, reason);
}

PcapngParser::Interface* PcapngParser::interface_of(EventBatch& batch, std::uint32_t index) {
  if (index >= interfaces_.size()) {
    // A header that stands where none belongs begins a section without any description: that of before holds.
    const bool may = (interface_may_be_lost_ || (interfaces_.empty() && index < previous_.size())) && index < std::max(previous_.size(), kMostAssumed) &&
                     index - interfaces_.size() < kMostAssumed;
    if (!may) return nullptr;
    while (interfaces_.size() <= index) assume_interface(batch);
  }
  return &interfaces_[index];
}

void PcapngParser::statistics_block(EventBatch& batch, const std::uint8_t* block, std::size_t length) {
  if (length < 24) return tell_damage(batch, window_.offset(), length, "statistics block that is too short");
  const Interface* interface = interface_of(batch, load32(block + 8));
  if (interface == nullptr)
    return no_interface(batch, length, "statistics of an interface that is not described");
  if (!interface->can) return;
  last_time_ = settled(interface->scale.to_time(std::uint64_t{load32(block + 12)} << 32 | load32(block + 16)));
  Counters counters;
  bool counted = false;
  std::optional<LinkChange> link;
  Options options(block + 20, block + length - 4, swapped_);
  for (Option option; options.next(option);) {
    if (option.code == kIsbLinkState && option.length >= 1) {
      if (option.value[0] <= static_cast<std::uint8_t>(LinkState::paused))
        link = LinkChange{static_cast<LinkState>(option.value[0])};
      continue;
    }
    if (option.length != 8) continue;
    auto& counter = option.code == kIsbIfRecv   ? counters.received
                    : option.code == kIsbIfDrop ? counters.interface_dropped
                                                : counters.system_dropped;
    if (option.code != kIsbIfRecv && option.code != kIsbIfDrop && option.code != kIsbOsDrop) continue;
    counter = load64(option.value);
    counted = true;
  }
  // Without a counter it still says that the recorder was awake at this time.
  if (counted || !link) batch.add_notice(last_time_, interface->bus, counters);
  if (link) batch.add_notice(last_time_, interface->bus, *link);
  if (options.broken()) damaged_options(batch, length, 20, "statistics block with damaged options");
}

void PcapngParser::note_block(EventBatch& batch, const std::uint8_t* block, std::size_t length) {
  if (length < 28) return tell_damage(batch, window_.offset(), length, "recorder's note that is too short");
  RecorderNote note;
  const std::uint32_t kind = load32(block + 8);
  // A kind that a later version writes is not ours to read.
  if (kind < static_cast<std::uint32_t>(RecorderNote::Kind::run_begins) ||
      kind > static_cast<std::uint32_t>(RecorderNote::Kind::lost))
    return;
  note.kind = static_cast<RecorderNote::Kind>(kind);
  has_can_ = true;  // nobody else writes these: a recorder without an interface yet
  last_time_ = settled(TickScale(kNanoseconds, 0).to_time(std::uint64_t{load32(block + 12)} << 32 | load32(block + 16)));
  BusIndex bus = 0;
  if (const std::uint32_t index = load32(block + 20); index != kNoInterface) {
    const Interface* interface = interface_of(batch, index);
    if (interface == nullptr)
      return no_interface(batch, length, "recorder's note on an interface that is not described");
    note.of_bus = interface->can;
    bus = interface->bus;
  }
  Options options(block + 24, block + length - 4, swapped_);
  for (Option option; options.next(option);) {
    if (option.code == kOptComment) {
      note.text = cut_text({reinterpret_cast<const char*>(option.value), option.length}, kLongestNote);
    } else if (option.code == kNoteData) {
      const std::size_t most = std::min<std::size_t>(option.length, RecorderNote::kMostData);
      note.data.assign(reinterpret_cast<const char*>(option.value), most);
    } else if (option.length == 8) {
      const std::uint64_t value = load64(option.value);
      if (option.code == kNoteNumber) note.number = value;
      if (option.code == kNoteBoot) note.boot = value;
      if (option.code == kNoteAddress) note.address = static_cast<std::uint8_t>(value);
      if (option.code == kNoteSpan) note.span = static_cast<SpanNs>(value);
    }
  }
  batch.add_notice(last_time_, bus, std::move(note));
  if (options.broken()) damaged_options(batch, length, 24, "recorder's note with damaged options");
}

void PcapngParser::enhanced_packet(EventBatch& batch, const std::uint8_t* block, std::size_t length) {
  if (length < 32) return tell_damage(batch, window_.offset(), length, "packet block that is too short");
  Packet found;
  found.interface = load32(block + 8);
  found.ticks = std::uint64_t{load32(block + 12)} << 32 | load32(block + 16);
  found.stored = load32(block + 20);
  found.original = load32(block + 24);
  found.data = block + 28;
  if (found.stored > length - 32)
    return tell_damage(batch, window_.offset(), length, "packet that is larger than its block");
  const bool whole = packet_options(found, found.data + padded(found.stored), block + length - 4);
  packet(batch, found, length);
  if (!whole) damaged_options(batch, 0, 28 + padded(found.stored), "packet with damaged options");
}

void PcapngParser::obsolete_packet(EventBatch& batch, const std::uint8_t* block, std::size_t length) {
  if (length < 32) return tell_damage(batch, window_.offset(), length, "packet block that is too short");
  Packet found;
  found.interface = load16(block + 8);
  const std::uint16_t drops = load16(block + 10);
  if (drops != kDropsUnknown) found.dropped = drops;
  found.ticks = std::uint64_t{load32(block + 12)} << 32 | load32(block + 16);
  found.stored = load32(block + 20);
  found.original = load32(block + 24);
  found.data = block + 28;
  if (found.stored > length - 32)
    return tell_damage(batch, window_.offset(), length, "packet that is larger than its block");
  const bool whole = packet_options(found, found.data + padded(found.stored), block + length - 4);
  packet(batch, found, length);
  if (!whole) damaged_options(batch, 0, 28 + padded(found.stored), "packet with damaged options");
}

void PcapngParser::simple_packet(EventBatch& batch, const std::uint8_t* block, std::size_t length) {
  if (length < 16) return tell_damage(batch, window_.offset(), length, "packet block that is too short");
  Packet found;
  found.original = load32(block + 8);
  found.data = block + 12;
  found.stored = std::min(found.original, static_cast<std::uint32_t>(length - 16));
  // The stored length is not told: it follows from the snap length of interface 0.
  if (!interfaces_.empty() && interfaces_[0].snap != 0)
    found.stored = std::min(found.stored, interfaces_[0].snap);
  packet(batch, found, length);
}

/// Direction and drop count; false if the options are damaged.
bool PcapngParser::packet_options(Packet& packet, const std::uint8_t* at, const std::uint8_t* end) const {
  Options options(at, end, swapped_);
  for (Option option; options.next(option);) {
    if (option.code == kEpbFlags && option.length == 4)
      packet.outbound = (load32(option.value) & kDirectionMask) == kDirectionOutbound;
    else if (option.code == kEpbDropCount && option.length == 8)
      packet.dropped = load64(option.value);
  }
  return !options.broken();
}

void PcapngParser::packet(EventBatch& batch, const Packet& packet, std::size_t length) {
  const Interface* interface = interface_of(batch, packet.interface);
  if (interface == nullptr)
    return no_interface(batch, length, "packet of an interface that is not described");
  ++section_packets_;
  if (packet.ticks) last_time_ = settled(interface->scale.to_time(*packet.ticks));
  last_interface_ = packet.interface;
  if (packet.dropped > 0 && interface->can)
    batch.add_notice(last_time_, interface->bus, FramesLost{packet.dropped});
  Event& event = batch.add_packet();
  event.time = last_time_;
  event.bus = interface->bus;
  if (!packet.ticks) event.flags |= kUntimed;
  if (packet.outbound) event.flags |= kOutbound;
  event.kind = EventKind::foreign;
  if (interface->can) socketcan::decode(packet.data, packet.stored, packet.original, event);
  count(event);
}

}  // namespace tramlog
