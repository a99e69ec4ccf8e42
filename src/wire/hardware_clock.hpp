// Time stamps of the CAN controller brought to the recorder's time: they have not the jitter of the way to the kernel, but a
// clock of their own (fact sheet, network and diagnostics, 8.2). Pure.
#pragma once

#include <algorithm>
#include <optional>

#include "base/time.hpp"

namespace tramlog {

class HardwareClock {
 public:
  /// Clocks of crystals part by less than this.
  static constexpr SpanNs kDriftPerSecond = 200 * kMicrosecond;
  /// A delay that differs more than this from the least is another clock: started anew, or stepped.
  static constexpr SpanNs kNewClock = 100 * kMillisecond;

  /// `stamped`: when the kernel had the frame, at the recorder's pace; `hardware`: what the controller says. The shortest delay
  /// seen is taken for the true one. Never later than `stamped`.
  TimeNs refine(TimeNs stamped, TimeNs hardware) {
    const SpanNs delay = stamped - hardware;
    if (!least_ || delay - *least_ > kNewClock || *least_ - delay > kNewClock) {
      least_ = delay;
    } else {
      const SpanNs drift = std::max<SpanNs>(stamped - latest_, 0) / (kSecond / kDriftPerSecond);
      least_ = std::min(delay, *least_ + drift);
    }
    latest_ = stamped;
    return hardware + *least_;
  }

 private:
  std::optional<SpanNs> least_;
  TimeNs latest_ = 0;
};

}  // namespace tramlog
