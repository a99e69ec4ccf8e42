#include "implement/totals_rate.hpp"

#include <algorithm>

namespace tramlog {
namespace {

constexpr std::uint64_t kMedianLasts = 8;  // samples
constexpr std::size_t kGapsKept = 31;
constexpr SpanNs kShortestUsual = 250 * kMillisecond;
constexpr double kStillUsual = 1.6;  // of the usual gap: one sample may come late
// A time interval that was asked for and is not kept: from then on the rate is not known.
constexpr int kStalePeriods = 3;
constexpr SpanNs kStaleAtLeast = 2 * kSecond;

}  // namespace

Delivered& Delivered::operator+=(const Delivered& other) {
  amount += other.amount;
  gap_s += other.gap_s;
  active_s += other.active_s;
  return *this;
}

Delivered Delivered::since(const Delivered& before) const {
  return {amount - before.amount, gap_s - before.gap_s, active_s - before.active_s};
}

SpanNs RateIntegral::usual_gap() const {
  if (asked_) return std::max(*asked_, kShortestUsual);
  if (gaps_.empty()) return kSecond;
  // A median does not move much from one sample to the next.
  if (middle_for_ != 0 && gaps_.size() >= kGapsKept && gaps_seen_ - middle_for_ < kMedianLasts) return middle_;
  std::vector<SpanNs> sorted = gaps_;
  const auto middle = sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2);
  std::nth_element(sorted.begin(), middle, sorted.end());
  middle_ = std::max(*middle, kShortestUsual);
  middle_for_ = gaps_seen_;
  return middle_;
}

void RateIntegral::pass(TimeNs now) {
  if (!begun_) {
    begun_ = true;
    passed_ = sampled_ = now;
    return;
  }
  const SpanNs step = span_between(passed_, now);
  if (step <= 0) {
    // The clock went back: what lies between is not known, and nothing may be counted twice.
    if (step < 0) sampled_ = now;
    passed_ = now;
    return;
  }
  const double seconds = to_seconds(step);
  passed_ = now;
  const bool may_deliver = !pace_ || *pace_ > 0;
  if (!may_deliver || (rate_ && *rate_ == 0)) {
    if (pace_ && *pace_ > 0) {
      // At rate 0 the pace still counts for the way up to the next sample.
      const double since = to_seconds(std::max<SpanNs>(0, span_between(sampled_, now)));
      open_ += *pace_ * seconds;
      open_late_ += *pace_ * seconds * std::max(0.0, since - seconds / 2);
    }
    return;
  }
  const SpanNs silent = span_between(sampled_, now);
  const bool stale = asked_ && silent > kStaleAtLeast && silent / kStalePeriods > *asked_;
  if (!rate_ || !pace_ || stale) open_gap_s_ += seconds;
  if (!rate_ || !pace_) return;
  const double since = to_seconds(std::max<SpanNs>(0, silent));
  open_ += *pace_ * seconds;
  open_late_ += *pace_ * seconds * std::max(0.0, since - seconds / 2);
  open_active_s_ += seconds;
}

void RateIntegral::set_pace(TimeNs at, std::optional<double> pace) {
  pass(at);
  pace_ = pace;
}

void RateIntegral::sample(TimeNs at, double rate, std::optional<SpanNs> asked_period) {
  pass(at);
  const SpanNs gap = span_between(sampled_, at);
  if (rate_) {
    const auto longest = static_cast<double>(usual_gap()) * kStillUsual;
    const bool straight = gap > 0 && static_cast<double>(gap) <= longest;
    // Switched off in between: it delivered as before until then, and 0 is only what came after. Switched on:
    // it delivers at once what the next sample tells.
    const bool switched_off = rate == 0 && pace_ && *pace_ == 0;
    const bool switched_on = *rate_ == 0 && stood_;
    if (straight && switched_on)
      done_.amount += rate * open_;
    else
      done_.amount += *rate_ * open_;
    if (straight && !switched_off && !switched_on)
      done_.amount += (rate - *rate_) / to_seconds(gap) * open_late_;
    if (gap > 0) {
      ++gaps_seen_;
      if (gaps_.size() < kGapsKept)
        gaps_.push_back(gap);
      else
        gaps_[next_gap_++ % kGapsKept] = gap;
    }
  }
  done_.gap_s += open_gap_s_;
  done_.active_s += open_active_s_;
  open_ = open_late_ = open_gap_s_ = open_active_s_ = 0;
  rate_ = rate;
  sampled_ = at;
  stood_ = pace_ && *pace_ == 0;
  asked_ = asked_period;
}

Delivered RateIntegral::at(TimeNs now) const {
  RateIntegral then = *this;
  then.pass(now);
  Delivered all = then.done_;
  all += {rate_.value_or(0) * then.open_, then.open_gap_s_, then.open_active_s_};
  return all;
}

}  // namespace tramlog
