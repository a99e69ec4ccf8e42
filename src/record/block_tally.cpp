#include "record/block_tally.hpp"

#include <algorithm>
#include <optional>
#include <utility>

#include "io/pcapng_format.hpp"
#include "io/pcapng_scan.hpp"

namespace tramlog {
namespace {

using namespace pcapng;

constexpr std::size_t kMostScales = 4096;
constexpr std::uint8_t kMicroseconds = 6;  // if_tsresol where there is none

}  // namespace

std::size_t BlockTally::take(Bytes view, bool nothing_follows) {
  std::size_t at = 0;
  while (at < view.size()) {
    const std::uint8_t* const here = view.data() + at;
    const std::size_t available = view.size() - at;
    if (searching_) {
      if (!nothing_follows && available <= kLongestBlock) return at;
      // In steps of 4, as the blocks were before the damage.
      const std::size_t range = nothing_follows ? available : (available - kLongestBlock) / 4 * 4;
      if (range == 0) return at;
      const auto found = find_block(here, available, search_first_, range, nothing_follows,
                                    order_known_ ? std::optional(swapped_) : std::nullopt);
      search_first_ = 0;
      if (!found) {
        at += range;
        continue;
      }
      swapped_ = found->swapped;
      order_known_ = true;
      at += found->at;
      searching_ = false;
      resumed_ = true;
      continue;
    }
    std::size_t length = 0;  // 0: no block
    if (available >= kShortestBlock) {
      if (load_native<std::uint32_t>(here) == kSectionHeader) {
        const auto magic = load_native<std::uint32_t>(here + 8);
        if (magic == kByteOrderMagic || swap_bytes(magic) == kByteOrderMagic) {
          swapped_ = magic != kByteOrderMagic;
          order_known_ = true;
        }
      }
      length = order_known_ ? load32(here + 4, swapped_) : 0;
      if (length < kShortestBlock || length % 4 != 0 || length > kLongestBlock) length = 0;
    } else if (!nothing_follows) {
      return at;
    }
    if (length > available && !nothing_follows) return at;
    if (length == 0 || length > available || load32(here + length - 4, swapped_) != length) {
      searching_ = broken_ = true;
      search_first_ = 1;  // not this one again
      continue;
    }
    block(here, length);
    at += length;
    if (!broken_) whole_until_ += length;
  }
  return at;
}

BlockTally::Times BlockTally::take_times() {
  return std::exchange(times_, {});
}

void BlockTally::tell(TimeNs time) {
  times_.first = times_.timed ? std::min(times_.first, time) : time;
  times_.last = times_.timed ? std::max(times_.last, time) : time;
  times_.timed = true;
}

void BlockTally::block(const std::uint8_t* at, std::size_t length) {
  const std::uint32_t type = load32(at, swapped_);
  if (type == kSectionHeader) {
    scales_.clear();
    return;
  }
  if (type == kInterfaceDescription) return interface(at, length);
  ++contents_;
  const bool packet = type == kEnhancedPacket && length >= 32;
  if (packet) ++times_.packets;
  // Packets and statistics begin alike: the interface's number, then the time in its units.
  if (packet || (type == kInterfaceStatistics && length >= 24)) {
    const std::uint32_t number = load32(at + 8, swapped_);
    if (number >= scales_.size()) return;
    tell(scales_[number].to_time(std::uint64_t{load32(at + 12, swapped_)} << 32 | load32(at + 16, swapped_)));
  } else if (type == kRecorderNote && length >= 28) {
    tell(TickScale(9, 0).to_time(std::uint64_t{load32(at + 12, swapped_)} << 32 | load32(at + 16, swapped_)));
  }
}

void BlockTally::interface(const std::uint8_t* at, std::size_t length) {
  if (scales_.size() >= kMostScales || length < 20) return;
  std::uint8_t resolution = kMicroseconds;
  std::int64_t offset_s = 0;
  const std::uint8_t* const end = at + length - 4;
  for (const std::uint8_t* option = at + 16; end - option >= 4;) {
    const std::uint16_t code = load16(option, swapped_), bytes = load16(option + 2, swapped_);
    const std::uint8_t* const value = option + 4;
    if (code == kOptEnd || padded(bytes) > static_cast<std::size_t>(end - value)) break;
    if (code == kIfTsResol && bytes >= 1) resolution = *value;
    if (code == kIfTsOffset && bytes == 8) offset_s = static_cast<std::int64_t>(load64(value, swapped_));
    option = value + padded(bytes);
  }
  scales_.emplace_back(resolution, offset_s);
}

}  // namespace tramlog
