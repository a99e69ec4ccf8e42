#include "io/pcapng_parser.hpp"

#include <algorithm>
#include <cstring>
#include <utility>

#include "io/lone_stamp.hpp"
#include "io/pcapng_format.hpp"
#include "io/socketcan_packet.hpp"

namespace tramlog {
namespace {

using namespace pcapng;

constexpr std::size_t kSectionBytes = 28;
constexpr std::size_t kEnhancedBytes = 32;  // without packet and options
constexpr std::size_t kSearchChunk = 64 * 1024;
constexpr std::size_t kSearchView = kSearchChunk + 2 * kLongestSought;
constexpr std::size_t kManyLostBytes = 4096;  // may have held anything
constexpr std::size_t kOneFlagsOption = 12;   // epb_flags and end of options
constexpr std::uint32_t kExtendedDataMask = kCanExtended | kCanRemote | kCanError;
constexpr std::uint32_t kDirectionMask = 3, kDirectionOutbound = 2;
constexpr const char* kEndsInside = "file ends inside a block";

/// If eight bytes of a block were lost and the next one is as long, that one's second word, its length,
/// stands where this one's should end; before it stands its type.
bool may_be_next(std::uint32_t word_before_length) {
  return (word_before_length != 0 && word_before_length <= kEnhancedPacket) ||
         word_before_length == kRecorderNote;
}

}  // namespace

bool PcapngParser::fill(EventBatch& batch) {
  while (batch.has_room()) {
    Step step = Step::again;
    if (in_damage()) {
      step = search(batch);
    } else {
      if (order_known_) swapped_ ? run_enhanced<true>(batch) : run_enhanced<false>(batch);
      if (batch.has_room()) step = one_block(batch);
    }
    if (step == Step::deliver) return true;
    if (step == Step::finished) return false;
  }
  return true;
}

/// The packets as nearly all of them are: of a known CAN interface, whole, with no option but the flags.
/// Whatever is otherwise is left to one_block().
template <bool kSwapped>
void PcapngParser::run_enhanced(EventBatch& batch) {
  const std::uint8_t* at = window_.at();
  const std::uint8_t* const end = window_.end();
  Event* out = batch.next();
  Event* const limit = batch.limit();
  std::uint64_t number = batch.next_number();
  std::uint32_t known = ~std::uint32_t{0};
  TickScale scale;
  BusIndex bus = 0;
  Fingerprint fingerprint = tally_.fingerprint;
  TimeNs time = last_time_;

  while (out != limit && static_cast<std::size_t>(end - at) >= kEnhancedBytes + socketcan::kHeaderBytes) {
    if (pcapng::load32(at, kSwapped) != kEnhancedPacket) break;
    const std::uint32_t length = pcapng::load32(at + 4, kSwapped);
    if (length > static_cast<std::size_t>(end - at) || length % 4 != 0 ||
        length < kEnhancedBytes + socketcan::kHeaderBytes)
      break;
    if (pcapng::load32(at + length - 4, kSwapped) != length) break;
    if (may_be_next(pcapng::load32(at + length - 8, kSwapped))) break;
    const std::uint32_t interface = pcapng::load32(at + 8, kSwapped);
    if (interface != known) {
      if (interface >= interfaces_.size() || !interfaces_[interface].can) break;
      known = interface;
      scale = interfaces_[interface].scale;
      bus = interfaces_[interface].bus;
    }
    const std::uint32_t stored = pcapng::load32(at + 20, kSwapped);
    if (stored > length - kEnhancedBytes || stored < socketcan::kHeaderBytes) break;
    const std::size_t options = length - kEnhancedBytes - padded(stored);
    unsigned flags = 0;
    if (options != 0) {
      const std::uint8_t* const option = at + length - 4 - options;
      if (options != kOneFlagsOption || pcapng::load16(option, kSwapped) != kEpbFlags ||
          pcapng::load16(option + 2, kSwapped) != 4 || load_native<std::uint32_t>(option + 8) != 0)
        break;
      if ((pcapng::load32(option + 4, kSwapped) & kDirectionMask) == kDirectionOutbound) flags = kOutbound;
    }
    const std::uint8_t* const packet = at + 28;
    const std::uint32_t original = pcapng::load32(at + 24, kSwapped);
    const TimeNs stamp = scale.to_time(std::uint64_t{pcapng::load32(at + 12, kSwapped)} << 32 |
                                       pcapng::load32(at + 16, kSwapped));
    if (is_far_off(stamp, time)) break;
    // Straight into the batch, field by field: a copy of a whole Event would wait for the stores of its
    // parts.
    Event& event = *out;
    const std::uint32_t word = load_be32(packet);
    const unsigned payload = packet[4];
    const bool plain = (word & kExtendedDataMask) == kCanExtended && payload <= socketcan::kClassicPayload &&
                       payload + socketcan::kHeaderBytes <= stored && packet[5] == 0 &&
                       original >= socketcan::kHeaderBytes && original != socketcan::kFdPacket;
    if (plain) [[likely]] {
      event.data = packet + socketcan::kHeaderBytes;
      event.id = word & kExtendedIdMask;
      event.len = static_cast<std::uint8_t>(payload);
      event.kind = EventKind::frame;
      event.flags = static_cast<std::uint8_t>(flags | kExtendedId);
    } else {
      event.flags = static_cast<std::uint8_t>(flags);
      socketcan::decode(packet, stored, original, event);
      if (event.kind == EventKind::foreign) break;
    }
    event.time = time = stamp;
    event.number = number++;
    event.notice = nullptr;
    event.bus = bus;
    fingerprint.add(event);
    ++out;
    at += length;
  }

  const auto frames = static_cast<std::uint64_t>(out - batch.next());
  if (sink_ != nullptr) hand_on_frames(window_.at(), {batch.next(), static_cast<std::size_t>(frames)});
  tally_.packets += frames;
  tally_.fingerprint = fingerprint;
  section_packets_ += frames;
  last_time_ = time;
  if (frames > 0) last_interface_ = known;
  batch.took(out);
  window_.advance(static_cast<std::size_t>(at - window_.at()));
}

CaptureParser::Step PcapngParser::one_block(EventBatch& batch) {
  switch (need(batch, 8)) {
    case Need::deliver:
      return Step::deliver;
    case Need::ended:
      if (window_.available() == 0) {
        search_first_ = 0;
        return go_past_tail() ? Step::again : Step::finished;
      }
      begin_damage(kEndsInside);
      ends_inside_ = true;
      search_first_ = 1;
      return Step::again;
    case Need::ready:
      break;
  }
  search_first_ = 1;  // for every case of damage below
  if (load_native<std::uint32_t>(window_.at()) == kSectionHeader) return section(batch);
  if (!order_known_) {
    begin_damage("no section header where one must be");
    search_first_ = 0;
    return Step::again;
  }
  const std::uint32_t length = load32(window_.at() + 4);
  if (length < kShortestBlock || length % 4 != 0 || length > kLongestBlock) {
    begin_damage(load_native<std::uint64_t>(window_.at()) == 0 ? "zeros instead of a block"
                                                               : "a block length that cannot be");
    return Step::again;
  }
  const Need whole = need(batch, length);
  if (whole == Need::deliver) return Step::deliver;
  if (whole == Need::ended) {
    begin_damage(kEndsInside);
    ends_inside_ = true;
    return Step::again;
  }
  const std::uint8_t* const block = window_.at();
  if (load32(block + length - 4) != length) {
    // If a block follows where the first length says, and none before, only the second length is damaged.
    const Need view = need(batch, length + kLongestSought);
    if (view == Need::deliver) return Step::deliver;
    const std::uint8_t* const moved = window_.at();
    const std::size_t available = window_.available();
    const bool last = view == Need::ended && available == length;
    const bool fits = last || plausible_block(moved + length, available - length, swapped_) > 0;
    if (!fits || find_block(moved, available, 1, length, false, swapped_)) {
      begin_damage("block lengths differ");
      return Step::again;
    }
    tell_damage(batch, window_.offset() + length - 4, 4, "block lengths differ");
    const std::uint64_t damaged = tally_.damaged_bytes;
    handle(batch, moved, length);
    if (sink_ != nullptr) hand_on(moved, length, damaged, true);
  } else {
    if (may_be_next(load32(block + length - 8))) {
      // Believed to have lost bytes if a whole block starts there and none follows this one.
      const std::size_t back = length - 8;
      const Need next = need(batch, back + length);
      if (next == Need::deliver) return Step::deliver;
      if (next == Need::ready && plausible_block(window_.at() + back, length, swapped_) > 0) {
        if (need(batch, length + kLongestSought) == Need::deliver) return Step::deliver;
        const std::size_t behind = std::min<std::size_t>(window_.available() - length, kLongestSought);
        if (plausible_block(window_.at() + length, behind, swapped_) == 0) {
          begin_damage("a block with bytes missing");
          return Step::again;
        }
      }
    }
    // Whoever takes the blocks themselves sees the whole recording and judges their times by it.
    if (sink_ == nullptr && !settle_stamp(batch, length)) return Step::deliver;
    const std::uint64_t damaged = tally_.damaged_bytes, put_right = stamps_put_right_;
    handle(batch, window_.at(), length);
    if (sink_ != nullptr) hand_on(window_.at(), length, damaged, false);
    if (stamps_put_right_ != put_right)
      tell_damage(batch, window_.offset(), 0, "a time stamp far from those around it", Damage::Kind::stamp);
  }
  window_.advance(length);
  return Step::again;
}

/// What run_enhanced() took: blocks one behind the other, one event each.
void PcapngParser::hand_on_frames(const std::uint8_t* first, std::span<const Event> frames) {
  for (const Event& frame : frames) {
    const std::uint32_t length = load32(first + 4);
    sink_->block({first, length}, frame.time, swapped_);
    first += length;
  }
}

/// A block that handle() has read, unless it was told as damage as a whole. Interfaces went their own way.
void PcapngParser::hand_on(const std::uint8_t* block, std::size_t length, std::uint64_t damaged_before,
                           bool mended) {
  const std::size_t options = std::exchange(broken_options_, 0);
  const std::uint32_t type = load32(block);
  if (type == kInterfaceDescription) return;
  // A packet whose options do not hold counts no byte as damaged, unless it was left out altogether.
  const bool packet = type == kEnhancedPacket || type == kObsoletePacket;
  if (tally_.damaged_bytes != damaged_before && (options == 0 || packet)) return;
  const bool timed = type == kEnhancedPacket || type == kObsoletePacket || type == kInterfaceStatistics ||
                     type == kRecorderNote;
  const auto time = timed ? std::optional(last_time_) : std::nullopt;
  if (options == 0 && !mended) return sink_->block({block, length}, time, swapped_);
  std::vector<std::uint8_t> whole(block, block + length);
  if (options != 0) whole.resize(options + whole_options(block + options, block + length - 4, swapped_) + 4);
  const auto size = static_cast<std::uint32_t>(whole.size());
  const std::uint32_t stored = swapped_ ? swap_bytes(size) : size;
  std::memcpy(whole.data() + 4, &stored, 4);
  std::memcpy(whole.data() + size - 4, &stored, 4);
  sink_->block(whole, time, swapped_);
}

CaptureParser::Step PcapngParser::section(EventBatch& batch) {
  const Need head = need(batch, kSectionBytes);
  if (head == Need::deliver) return Step::deliver;
  if (head == Need::ended) {
    begin_damage(kEndsInside);
    ends_inside_ = true;
    return Step::again;
  }
  const auto magic = load_native<std::uint32_t>(window_.at() + 8);
  const bool swapped = magic != kByteOrderMagic;
  if (swapped && swap_bytes(magic) != kByteOrderMagic) {
    begin_damage("section header without byte order magic");
    return Step::again;
  }
  const std::uint32_t length = pcapng::load32(window_.at() + 4, swapped);
  if (length < kSectionBytes || length % 4 != 0 || length > kLongestBlock) {
    begin_damage("section header with a length that cannot be");
    return Step::again;
  }
  const Need whole = need(batch, length);
  if (whole == Need::deliver) return Step::deliver;
  if (whole == Need::ended) {
    begin_damage(kEndsInside);
    ends_inside_ = true;
    return Step::again;
  }
  if (pcapng::load32(window_.at() + length - 4, swapped) != length) {
    begin_damage("section header whose lengths differ");
    return Step::again;
  }
  if (pcapng::load16(window_.at() + 12, swapped) != 1) {
    begin_damage("section header of an unknown format version");
    return Step::again;
  }
  swapped_ = swapped;
  order_known_ = true;
  start_section(batch, {window_.at(), length});
  window_.advance(length);
  return Step::again;
}

void PcapngParser::start_section(EventBatch& batch, Bytes header) {
  if (!interfaces_.empty()) previous_ = std::move(interfaces_);
  interfaces_.clear();
  interface_may_be_lost_ = false;
  section_packets_ = 0;
  if (sink_ == nullptr) return;
  sink_->section(header, swapped_);
  described_ahead_ = false;
  std::vector<InterfaceWords> ahead = sink_->described_ahead();
  for (InterfaceWords& words : ahead) add_interface(batch, std::move(words), {});
  described_ahead_ = !ahead.empty();
}

CaptureParser::Step PcapngParser::search(EventBatch& batch) {
  const Need view = need(batch, kSearchView);
  if (view == Need::deliver) return Step::deliver;
  // Never more than the view: what is found must not depend on how the bytes arrived.
  const std::size_t available = std::min(window_.available(), kSearchView);
  const bool ended = view == Need::ended;
  const std::size_t range = ended ? available : kSearchChunk;
  const auto found = find_block(window_.at(), available, search_first_, range, ended,
                                order_known_ ? std::optional(swapped_) : std::nullopt);
  const std::size_t skipped = found ? found->at : range;
  note_lost(batch, window_.at(), skipped);
  window_.advance(skipped);
  search_first_ = 0;
  if (found) {
    swapped_ = found->swapped;
    if (!std::exchange(order_known_, true)) start_section(batch, {});
    if (ends_inside_) damage_reason_ = "a block that is longer than the rest of the file";
    if (after_gap_) interface_may_be_lost_ = true;
    if (section_packets_ == 0) interface_may_be_lost_ = true;
    end_damage(batch);
    for (; lost_interfaces_ > 0; --lost_interfaces_)
      if (interfaces_.size() < previous_.size() + 8) assume_interface(batch);
    return Step::again;
  }
  if (!ended || go_past_tail()) return Step::again;
  end_damage(batch, true);
  return Step::finished;
}

/// What the skipped bytes may have told about interfaces.
void PcapngParser::note_lost(EventBatch& batch, const std::uint8_t* at, std::size_t bytes) {
  const LostBlocks lost = inspect_lost(at, bytes);
  if (lost.section) {
    start_section(batch, {});
    lost_interfaces_ = 0;
  }
  if (lost.section || lost.interfaces > 0 || bytes >= kManyLostBytes) interface_may_be_lost_ = true;
  lost_interfaces_ = std::min(lost_interfaces_ + lost.interfaces, 8u);
}

}  // namespace tramlog
