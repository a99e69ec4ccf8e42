// Single time stamps that were hit: told from a clock that stepped by what comes behind them.
#include <algorithm>

#include "io/lone_stamp.hpp"
#include "io/pcapng_format.hpp"
#include "io/pcapng_parser.hpp"

namespace tramlog {
namespace {

using namespace pcapng;

constexpr int kFollowers = 3;   // with a time, that are looked at
constexpr int kMostLooked = 8;  // of all kinds
constexpr std::uint8_t kNanoseconds = 9;

}  // namespace

std::optional<PcapngParser::Stamp> PcapngParser::stamp_of(const std::uint8_t* block,
                                                          std::size_t length) const {
  const std::uint32_t type = load32(block);
  const bool packet = type == kEnhancedPacket || type == kObsoletePacket;
  if (length < 24 || (!packet && type != kInterfaceStatistics && type != kRecorderNote)) return std::nullopt;
  const std::uint64_t ticks = std::uint64_t{load32(block + 12)} << 32 | load32(block + 16);
  if (type == kRecorderNote) return Stamp{TickScale(kNanoseconds, 0).to_time(ticks), kNoInterface};
  const std::uint32_t index = type == kObsoletePacket ? load16(block + 8) : load32(block + 8);
  if (index >= interfaces_.size()) return std::nullopt;
  return Stamp{interfaces_[index].scale.to_time(ticks), packet ? index : kNoInterface};
}

/// A stamp is wrong if it is far from the one before and from those behind, and these agree with each other.
/// A clock that stepped takes all that follow with it. Of several interfaces one may be written later than
/// others: there the stamp must be off by one bit, or by more than any buffer holds.
bool PcapngParser::settle_stamp(const EventBatch& batch, std::size_t length) {
  put_right_.reset();
  if (believes_stamps_) return true;
  const auto own = stamp_of(window_.at(), length);
  if (!own || !is_far_off(own->time, last_time_)) return true;
  std::size_t at = length;
  for (int looked = 0, followers = 0; looked < kMostLooked && followers < kFollowers; ++looked) {
    Need there = need(batch, at + 8);
    if (there != Need::ready) return there == Need::ended;
    const std::uint32_t size = load32(window_.at() + at + 4);
    if (size < kShortestBlock || size % 4 != 0 || size > kLongestSought) return true;
    there = need(batch, at + size);
    if (there != Need::ready) return there == Need::ended;
    const std::uint8_t* const block = window_.at() + at;
    if (load32(block + size - 4) != size || load_native<std::uint32_t>(block) == kSectionHeader) return true;
    const auto next = stamp_of(block, size);
    at += size;
    if (!next) continue;
    ++followers;
    if (!is_far_off(next->time, own->time)) return true;
    if (is_far_off(next->time, last_time_)) continue;
    const auto exact = one_bit_between(own->time, last_time_, next->time);
    // Before the first packet the time is only what a look ahead took for the beginning.
    const bool anchored = tally_.packets + tally_.foreign > 0;
    const bool one_order = own->interface != kNoInterface && own->interface == next->interface &&
                           own->interface == last_interface_;
    const bool far = one_order || magnitude(own->time - last_time_) > kHour;
    if (exact || (anchored && far)) put_right_ = exact.value_or(last_time_);
    return true;
  }
  return true;
}

TimeNs PcapngParser::settled(TimeNs stamp) {
  if (!put_right_) return stamp;
  ++stamps_put_right_;
  return *std::exchange(put_right_, std::nullopt);
}

}  // namespace tramlog
