#include "exam/pace.hpp"

#include <algorithm>

namespace tramlog {
namespace {
// Of all gaps, this many per 1000 may be longer than the rhythm (a lost frame, an earlier dropout).
constexpr unsigned kOutliersPermille = 20;
// A rhythm holds at least this share of all gaps. Gaps of independent events fall off exponentially towards
// their longest: about an eighth of them lies within the octave around the 98 % mark.
constexpr unsigned kMinSharePermille = 200;
}  // namespace

SpanNs Pace::bucket_middle(unsigned bucket) {
  const SpanNs base = SpanNs{1} << (kFirstOctave + bucket / 4);
  return base + base / 4 * (bucket % 4) + base / 8;
}

SpanNs Pace::median() const {
  std::uint32_t seen = 0;
  for (unsigned i = 0; i < kBuckets; ++i) {
    seen += counts_[i];
    if (seen * 2 >= total_ && seen > 0) return bucket_middle(i);
  }
  return 0;
}

void Pace::begin_block() {
  before_block_ = counts_;
  before_total_ = total_;
}

void Pace::close_block() {
  const std::uint32_t all = total_ - before_total_;
  std::uint32_t seen = 0;
  Spread spread;
  bool low = false, middle = false, high = false;
  for (unsigned i = 0; i < kBuckets && !high; ++i) {
    seen += static_cast<std::uint32_t>(counts_[i] - before_block_[i]);
    const auto reached = [&](bool& told, std::uint8_t& place, std::uint32_t percent) {
      if (told || seen * 100 < all * percent) return;
      told = true;
      place = static_cast<std::uint8_t>(i);
    };
    reached(low, spread.low, 5);
    reached(middle, spread.middle, 50);
    reached(high, spread.high, 95);
  }
  spread_ = spread;
  ++blocks_;
  begin_block();
}

void Pace::judge() {
  if (total_ - before_total_ >= kBlockGaps) close_block();
  if (total_ >= kFadeAt) {
    total_ = 0;
    for (auto& count : counts_) total_ += count /= 2;
    // What fades may not be taken for gaps of the block: it begins anew.
    begin_block();
    // The mean keeps its weight at what is still remembered, or an old pace would rule for ever.
    band_sum_ /= 2;
    band_count_ /= 2;
  }
  // Judged at 8, 16, 32, 64 gaps, then every 64.
  until_judged_ = std::min<std::uint32_t>(std::max<std::uint32_t>(total_, kMinGaps), 64);
  if (total_ < kMinGaps) return;

  const std::uint32_t outliers = std::max(total_ * kOutliersPermille / 1000, total_ >= 2 * kMinGaps ? 2u
                                                                             : total_ > kMinGaps    ? 1u
                                                                                                    : 0u);
  std::uint32_t above = 0;
  unsigned top = kBuckets - 1;
  while (top > 0 && above + counts_[top] <= outliers) above += counts_[top--];

  // A whole octave: gaps that jitter by 30 % either way fill most of it.
  const unsigned low = top > 2 ? top - 2 : 0;
  const unsigned high = std::min(top + 1, kBuckets - 1);
  std::uint32_t inside = 0;
  SpanNs estimate = 0;
  for (unsigned i = low; i <= high; ++i) {
    inside += counts_[i];
    estimate += bucket_middle(i) * counts_[i];
  }
  share_permille_ = inside * 1000 / total_;
  // Below 1 ms and above 2 min there is no pace to speak of.
  const bool rhythm =
      inside >= kMinGaps && share_permille_ >= kMinSharePermille && top > 0 && top < kBuckets - 1;
  if (!rhythm) {
    period_ = 0;
    pause_limit_ = INT64_MAX;
    band_low_ = kBuckets + 2;
    band_sum_ = 0;
    band_count_ = 0;
    return;
  }
  // A neighbour bucket that jitter touches now and then does not move the band, or the mean would start anew
  // each time.
  const bool moved = period_ == 0 || top < band_low_ || top > band_low_ + band_width_;
  if (moved) {
    band_low_ = low;
    band_width_ = high - low;
    band_sum_ = 0;
    band_count_ = 0;
    period_ = estimate / inside;
    pause_limit_ = std::max(kShortestPause, 5 * period_);
  }
}

}  // namespace tramlog
