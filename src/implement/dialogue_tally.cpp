#include "implement/dialogue_tally.hpp"

#include <algorithm>

#include "implement/line_tools.hpp"

namespace tramlog {

std::optional<double> Pulse::take(Mark at, double late_s) {
  std::optional<double> back;
  gap_.reset();
  if (last_ && at.time > last_->time) {
    const double gap = to_seconds(at.time - last_->time);
    gap_ = Gap{last_->time, at.time, lost_ && blamed_, false};
    longest_before_s_ = longest_s_;
    if (lost_) {
      back = gap;
      if (blamed_) lost_s_ += gap;
    } else if (!excused_ && count_ >= 2) {
      longest_s_ = std::max(longest_s_, gap);
      gap_->told_late = gap > late_s;
      if (gap > late_s) late_.add(at, "came after " + seconds_words(gap));
    }
  }
  lost_ = blamed_ = excused_ = false;
  last_ = at;
  ++count_;
  return back;
}

bool Pulse::overdue(TimeNs now, double lost_s) {
  if (!last_ || lost_ || excused_ || count_ < 2) return false;
  if (to_seconds(now - last_->time) <= lost_s) return false;
  lost_ = true;
  return true;
}

void Pulse::blame(std::string text) {
  blamed_ = true;
  losses_.add(*last_, std::move(text));
}

void Pulse::excuse(TimeNs from, TimeNs to) {
  if (gap_ && gap_->begin < to && from < gap_->end) {
    if (gap_->told_lost) {
      losses_.undo();
      lost_s_ -= to_seconds(gap_->end - gap_->begin);
    }
    if (gap_->told_late) late_.undo();
    longest_s_ = longest_before_s_;
    gap_.reset();
  }
  if (!last_ || to < last_->time) return;
  if (lost_ && blamed_) losses_.undo();
  lost_ = blamed_ = false;
  excused_ = true;
}

double Pulse::lost_s(TimeNs end) const {
  return lost_s_ + (blamed_ && end > last_->time ? to_seconds(end - last_->time) : 0.0);
}

}  // namespace tramlog
