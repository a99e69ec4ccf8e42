#include "implement/totals_count.hpp"

#include <algorithm>

namespace tramlog {
namespace {

// The client sets its totals to 0 when it sees the edge; a report that was on its way may still come.
constexpr SpanNs kEdgeSettles = 3 * kSecond;
// Counters run over at 2^31 - 1 (fact sheet, process data, 5.5).
constexpr std::int64_t kNearlyFull = 2'040'000'000;
constexpr std::int64_t kNearlyEmpty = 100'000'000;
constexpr double kCountsToMiss = 3;

}  // namespace

void TotalCounter::end_stretch() {
  if (open_ && open_->reports >= 2) {
    if (ended_.size() >= kMaxStretches) {
      const auto least = std::min_element(
          ended_.begin(), ended_.end(), [](const auto& a, const auto& b) { return a.growth() < b.growth(); });
      if (least->growth() < open_->growth()) *least = *open_;
    } else {
      ended_.push_back(*open_);
    }
  }
  open_.reset();
  standing_.reset();
}

void TotalCounter::report(std::int64_t raw, Mark at, const Delivered& so_far, double amount_per_count,
                          double frozen_s) {
  ++reports_;
  const bool settling = edge_ && span_between(edge_->time, at.time) <= kEdgeSettles;
  const bool went_back = last_raw_ && raw < *last_raw_;
  if (went_back) {
    const bool ran_over = *last_raw_ >= kNearlyFull && raw <= kNearlyEmpty;
    if (!may_jump_ && !settling && !ran_over) {
      ++jump_count_;
      if (jumps_.size() < kMaxJumps) jumps_.push_back({at, *last_raw_, raw});
    }
    end_stretch();
  }
  if (!open_) {
    open_ = CountedStretch{raw, raw, at, at, so_far, so_far, false, 1};
    // The task began since the report before, and the counter was set to 0 there, or was 0 all the time.
    if (start_ && raw >= 0 && (raw < start_->raw_before || start_->raw_before == 0)) {
      open_->first_raw = 0;
      open_->first_at = start_->at;
      open_->first = start_->so_far;
      open_->broken = broken_since_edge_;
      open_->reports = 2;
    }
  } else {
    open_->last_raw = raw;
    open_->last_at = at;
    open_->last = so_far;
    ++open_->reports;
  }
  // A report right after the edge may still hold the old count: the start stays open as long.
  if (!settling || (start_ && raw == 0)) start_.reset();

  if (!standing_ || standing_->last_raw != raw) {
    standing_ = CountedStretch{raw, raw, at, at, so_far, so_far, false, 1};
  } else {
    standing_->last_at = at;
    standing_->last = so_far;
    ++standing_->reports;
    const Delivered missed = standing_->delivered();
    if (missed.active_s >= frozen_s && amount_per_count > 0 &&
        missed.amount >= kCountsToMiss * amount_per_count &&
        (!frozen_ || frozen_->delivered().active_s <= missed.active_s))
      frozen_ = standing_;
  }
  // Before the edge has settled a report may still hold what was counted before it.
  may_jump_ = may_jump_ && settling && !went_back;
  last_raw_ = raw;
  last_at_ = at;
}

void TotalCounter::task_edge(bool begins, Mark at, const Delivered& so_far) {
  end_stretch();
  edge_ = at;
  may_jump_ = true;
  start_.reset();
  broken_since_edge_ = false;
  if (begins && last_raw_) start_ = Start{at, so_far, *last_raw_};
}

void TotalCounter::written(Mark) {
  end_stretch();
  may_jump_ = true;
  start_.reset();
}

void TotalCounter::interrupted() {
  if (open_) open_->broken = true;
  end_stretch();
  may_jump_ = true;
  start_.reset();
}

void TotalCounter::sources_changed() {
  end_stretch();
  start_.reset();
}

std::vector<CountedStretch> TotalCounter::stretches() const {
  std::vector<CountedStretch> all = ended_;
  if (open_ && open_->reports >= 2) all.push_back(*open_);
  return all;
}

}  // namespace tramlog
