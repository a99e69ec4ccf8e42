#include "wire/replay_schedule.hpp"

#include <cmath>

namespace tramlog {

SpanNs ReplaySchedule::due(TimeNs capture_time) {
  SpanNs gap = latest_ ? span_between(*latest_, capture_time) : 0;
  latest_ = capture_time;
  if (gap < 0) {
    ++steps_back_;
    gap = 0;
  }
  if (pace_.longest_pause && gap > *pace_.longest_pause) {
    ++cut_pauses_;
    gap = *pace_.longest_pause;
  }
  elapsed_ = later_by(elapsed_, gap);
  if (pace_.factor == 1.0) return elapsed_;
  const long double scaled =
      std::floor(static_cast<long double>(elapsed_) / static_cast<long double>(pace_.factor) + 0.5L);
  constexpr long double kMost = 9.2e18L;  // a flipped bit in a time stamp may ask for centuries
  return scaled >= kMost ? INT64_MAX : static_cast<SpanNs>(scaled);
}

}  // namespace tramlog
