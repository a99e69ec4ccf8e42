// When each packet of a capture is due on the wire again. Pure.
#pragma once

#include <cstdint>
#include <optional>

#include "base/time.hpp"

namespace tramlog {

struct ReplayPace {
  double factor = 1.0;                  // 2: twice as fast; over 0
  std::optional<SpanNs> longest_pause;  // of the capture's own time; longer ones are cut to it. None: kept
};

class ReplaySchedule {
 public:
  explicit ReplaySchedule(ReplayPace pace) : pace_(pace) {}

  /// When the packet is due, counted from the first one; never before the one before it. Time stamps that go
  /// back count as no pause. The capture's time is summed up exactly and divided once, so the pace cannot
  /// drift.
  SpanNs due(TimeNs capture_time);

  std::uint64_t cut_pauses() const { return cut_pauses_; }
  std::uint64_t steps_back() const { return steps_back_; }

 private:
  ReplayPace pace_;
  std::optional<TimeNs> latest_;
  SpanNs elapsed_ = 0;
  std::uint64_t cut_pauses_ = 0;
  std::uint64_t steps_back_ = 0;
};

}  // namespace tramlog
