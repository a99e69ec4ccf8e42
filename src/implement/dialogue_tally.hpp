// What a connection's check-list lines are made of: cases, and messages that come every 2 s.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "implement/records.hpp"

namespace tramlog {

/// Counts cases and keeps the first of them.
struct Cases {
  std::uint64_t count = 0;
  std::vector<Moment> moments;  // at most kMaxMoments
  std::optional<TimeNs> first, last;

  void add(Mark at, std::string text) {
    ++count;
    if (!first) first = at.time;
    last = at.time;
    if (moments.size() < kMaxMoments) moments.push_back({at, std::move(text)});
  }
  /// The latest was none.
  void undo() {
    if (count == 0) return;
    --count;
    if (moments.size() > count) moments.pop_back();
    if (count == 0) first.reset();
    last.reset();
    if (!moments.empty()) last = moments.back().at.time;
  }
};

/// A message that comes every 2 s: the status of a task controller, the task message of its client (fact
/// sheet, process data, 2.2, 2.3, 6.1). Two must have come before a gap says anything.
class Pulse {
 public:
  /// It came. The gap in s, if it had been lost.
  std::optional<double> take(Mark at, double late_s);
  /// True once when nothing came for longer than `lost_s`.
  bool overdue(TimeNs now, double lost_s);
  /// The present loss is one to tell; `text` for its moment.
  void blame(std::string text);
  /// The gap to the next one proves nothing: its sender started again.
  void excuse() { excused_ = true; }
  /// The recorder was blind, which may become known late: what was judged across it is taken back.
  void excuse(TimeNs from, TimeNs to);

  const std::optional<Mark>& last() const { return last_; }
  std::uint64_t count() const { return count_; }
  bool lost() const { return lost_; }
  double longest_s() const { return longest_s_; }
  /// Of the losses that are told, up to `end` where it did not come back.
  double lost_s(TimeNs end) const;
  const Cases& losses() const { return losses_; }
  const Cases& late() const { return late_; }  // late, but not lost

 private:
  std::optional<Mark> last_;
  std::uint64_t count_ = 0;
  bool lost_ = false, blamed_ = false, excused_ = false;
  double longest_s_ = 0, longest_before_s_ = 0, lost_s_ = 0;
  Cases losses_, late_;
  /// The gap before the last one.
  struct Gap {
    TimeNs begin = 0, end = 0;
    bool told_lost = false, told_late = false;
  };
  std::optional<Gap> gap_;
};

}  // namespace tramlog
