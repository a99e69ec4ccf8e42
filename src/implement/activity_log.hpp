// When the machine drove and when it worked: a few stretches for a whole season. Fed with the speed that the
// bus tells anyway.
#pragma once

#include <optional>
#include <vector>

#include "implement/records.hpp"

namespace tramlog {

class ActivityLog {
 public:
  static constexpr std::size_t kMaxStretches = 32;  // of each kind; then the two closest become one
  static constexpr SpanNs kPause = kMinute;         // a turn at the headland, a look at the coulters
  static constexpr SpanNs kLookEvery = 100 * kMillisecond;
  /// A speed counts until the next look, but no longer.
  static constexpr SpanNs kLongestStep = 2 * kSecond;

  /// The machine drives with `mm_s` at `now`. `drives`: faster than standing; `works`: with work on, too.
  void look(TimeNs now, double mm_s, bool drives, bool works);
  /// True if look() would take notice: less often than messages come.
  bool wants(TimeNs now) const;
  /// Nothing is known of the time until the next look.
  void blind() { step_known_ = false; }

  bool empty() const { return driving_.empty(); }
  ActivityRecord conclude(BusIndex bus) const { return {bus, driving_, working_}; }

 private:
  static void add(std::vector<Stretch>& list, TimeNs now, SpanNs step, double mm_s);

  std::optional<TimeNs> looked_;
  bool step_known_ = false;
  std::vector<Stretch> driving_, working_;
};

}  // namespace tramlog
