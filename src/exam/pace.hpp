// How often a stream speaks, learned from its own gaps, robust against jitter, bursts and messages on change.
#pragma once

#include <array>
#include <bit>
#include <cstdint>

#include "base/time.hpp"

namespace tramlog {

/// Gaps are sorted into quarter octaves from 1.05 ms to 137 s. A stream has a *rhythm* when its longest
/// ordinary gap (the 98 % mark) comes again and again: then a much longer gap means something. Gaps of
/// messages on change spread out towards their longest, so these never get a rhythm; a message that is sent
/// on change *and* at least once a second does, at one second. What was learned fades (halved every 1024
/// gaps), so a changed pace is learned anew.
class Pace {
 public:
  static constexpr unsigned kBuckets = 68;      // 17 octaves x 4
  static constexpr unsigned kFirstOctave = 20;  // 2^20 ns = 1.05 ms
  static constexpr unsigned kMinGaps = 8;       // fewer gaps say nothing
  static constexpr unsigned kFadeAt = 1024;
  static constexpr SpanNs kShortestPause = kSecond;

  static constexpr unsigned kBlockGaps = 256;

  /// How the gaps of kBlockGaps or a few more, one block after the other, spread: the buckets that 5 %, half
  /// and 95 % of them do not exceed.
  struct Spread {
    std::uint8_t low = 0, middle = 0, high = 0;
  };

  enum Pause : std::uint8_t {
    kNoPause = 0,
    kPause,         // the gap was longer than 5 periods of the rhythm so far, and than 1 s
    kPausedBefore,  // a rhythm has just been found; before it there was such a pause
  };
  Pause add(SpanNs gap) {
    const unsigned bucket = bucket_of(gap);
    ++counts_[bucket];
    ++total_;
    longest_ = gap > longest_ ? gap : longest_;
    // unsigned arithmetic: one comparison for "within the buckets of the rhythm"
    if (static_cast<unsigned>(bucket - band_low_) <= band_width_) {
      band_sum_ += gap;
      ++band_count_;
    }
    const Pause pause = gap > pause_limit_ ? kPause : kNoPause;
    if (--until_judged_ > 0) return pause;
    const bool had_rhythm = has_rhythm();
    judge();
    return !had_rhythm && has_rhythm() && longest_ > pause_limit_ ? kPausedBefore : pause;
  }

  bool has_rhythm() const { return period_ > 0; }
  /// Mean of the gaps of the rhythm in ns; 0 without one.
  SpanNs period() const {
    return period_ > 0 && band_count_ >= kMinGaps ? static_cast<SpanNs>(band_sum_ / band_count_) : period_;
  }
  /// Of all gaps in memory, how many per 1000 lie in the rhythm's octave.
  unsigned share_permille() const { return share_permille_; }
  std::uint32_t gaps() const { return total_; }
  SpanNs longest() const { return longest_; }
  /// Gap that half of the gaps in memory do not exceed (bucket's middle), ns.
  SpanNs median() const;

  /// Of the latest whole block; meaningful if there is one.
  const Spread& spread() const { return spread_; }
  std::uint32_t blocks() const { return blocks_; }
  /// The middle of a bucket, ns.
  static SpanNs bucket_middle(unsigned bucket);

  /// Judges now instead of at the next power of two; for streams that stop early.
  void judge();

  static unsigned bucket_of(SpanNs gap) {
    if (gap < SpanNs{1} << kFirstOctave) return 0;
    const auto g = static_cast<std::uint64_t>(gap);
    const unsigned octave = 63u - static_cast<unsigned>(std::countl_zero(g));
    const unsigned bucket = (octave - kFirstOctave) * 4 + static_cast<unsigned>(g >> (octave - 2) & 3);
    return bucket < kBuckets ? bucket : kBuckets - 1;
  }

 private:
  void close_block();
  void begin_block();

  std::array<std::uint16_t, kBuckets> counts_{};
  std::uint32_t total_ = 0;
  std::uint32_t until_judged_ = kMinGaps;
  std::uint32_t band_low_ = kBuckets + 2;  // no rhythm yet: nothing falls into it
  std::uint32_t band_width_ = 2;
  std::uint32_t band_count_ = 0;
  std::uint32_t share_permille_ = 0;
  SpanNs band_sum_ = 0;
  SpanNs period_ = 0;
  SpanNs longest_ = 0;
  SpanNs pause_limit_ = INT64_MAX;
  // Of the present block: what was in memory when it began.
  std::array<std::uint16_t, kBuckets> before_block_{};
  std::uint32_t before_total_ = 0;
  std::uint32_t blocks_ = 0;
  Spread spread_;
};

}  // namespace tramlog
