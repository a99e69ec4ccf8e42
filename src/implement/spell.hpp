// Something that counts once it has lasted: a speed source that is missing, a pressure that is too low. How
// often, how long, when, and the first cases in words.
#pragma once

#include <algorithm>
#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "implement/records.hpp"

namespace tramlog {

class Spell {
 public:
  /// It holds at `now`, and did so since `since` if it did not hold before. `size`: how bad it is now, the
  /// more the worse. Once it has lasted longer than `limit_s` it counts, and `words` is called for the
  /// moment's text.
  template <class Words>
  void bad(TimeNs now, Mark since, double limit_s, double size, Words words) {
    if (!since_) {
      since_ = since;
      size_ = size;
    }
    size_ = std::max(size_, size);
    const double length = to_seconds(span_between(since_->time, now));
    if (!told_ && length > limit_s) {
      told_ = true;
      ++count_;
      if (!first_) first_ = since_;
      if (moments_.size() < kMaxMoments) moments_.push_back({*since_, words()});
    }
    if (!told_) return;
    longest_s_ = std::max(longest_s_, length);
    worst_ = std::max(worst_.value_or(size_), size_);
  }
  /// It does not hold at `now`: a case that counts is over. True if there was one.
  bool good(TimeNs now) {
    const bool ends = told_;
    if (ends) {
      longest_s_ = std::max(longest_s_, to_seconds(span_between(since_->time, now)));
      end_ = now;
    }
    since_.reset();
    told_ = false;
    return ends;
  }
  /// Nothing is known of it from now on: what does not count yet never will.
  void forget() {
    since_.reset();
    told_ = false;
  }
  /// Nothing can be said at the moment: what counts goes on, what does not must begin again.
  void pass_over() {
    if (!told_) since_.reset();
  }

  std::uint64_t count() const { return count_; }
  bool goes_on() const { return told_; }
  std::optional<Mark> first() const { return first_; }
  /// When the latest case ended; none while one goes on.
  std::optional<TimeNs> end() const { return told_ ? std::nullopt : end_; }
  /// Of all cases; the one that goes on lasts until `end`.
  double longest_s(TimeNs end) const {
    return told_ ? std::max(longest_s_, to_seconds(span_between(since_->time, end))) : longest_s_;
  }
  std::optional<double> worst() const { return worst_; }
  const std::vector<Moment>& moments() const { return moments_; }

 private:
  std::optional<Mark> since_, first_;
  double size_ = 0;  // of the present case
  bool told_ = false;
  std::uint64_t count_ = 0;
  double longest_s_ = 0;
  std::optional<double> worst_;
  std::optional<TimeNs> end_;
  std::vector<Moment> moments_;  // one for each case, at most kMaxMoments
};

}  // namespace tramlog
