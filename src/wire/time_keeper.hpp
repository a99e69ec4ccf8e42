// Time stamps with a monotonic pace from a clock that may step (fact sheet, network and diagnostics, 8.2). Pure: the clocks
// are handed in.
#pragma once

#include <optional>

#include "base/time.hpp"

namespace tramlog {

/// Two clocks of one machine, read at one moment.
struct ClockReading {
  TimeNs real = 0;     // CLOCK_REALTIME
  TimeNs running = 0;  // CLOCK_BOOTTIME: never steps, goes on in suspend
};

/// Asks the machine; repeated until both were read within 100 us of each other, none if that never works out.
std::optional<ClockReading> read_clocks();
/// True if the kernel knows its real-time clock to be synchronised.
bool clock_is_synchronised();

class TimeKeeper {
 public:
  /// A smaller change of real against running time is no step but the reading's own jitter.
  static constexpr SpanNs kSmallestStep = 2 * kMillisecond;
  /// A frame waits no longer than this between its stamp and observe().
  static constexpr SpanNs kLongestWait = 30 * kSecond;

  /// `shift` = time stamps minus real time from the beginning on.
  explicit TimeKeeper(ClockReading begin, SpanNs shift = 0);

  /// After frames were read: the clock's step since the last call, if there was one.
  std::optional<SpanNs> observe(ClockReading now);
  /// A kernel stamp that was read before the latest observe() but after the one before it.
  TimeNs stamp(TimeNs kernel_time) const;
  /// The time of the latest observe().
  TimeNs now() const { return now_.real + shift_; }
  SpanNs shift() const { return shift_; }

 private:
  ClockReading now_;
  SpanNs shift_;
  SpanNs shift_before_;  // until the latest step, for as long as frames from before it may wait; else equal
  TimeNs stepped_at_ = 0;  // running time
  TimeNs observed_before_;  // what now() was at the observe() before
};

}  // namespace tramlog
