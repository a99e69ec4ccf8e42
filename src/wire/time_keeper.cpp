#include "wire/time_keeper.hpp"

#include <sys/timex.h>
#include <time.h>

#include <algorithm>

namespace tramlog {
namespace {

TimeNs read_clock(clockid_t clock) {
  timespec time{};
  ::clock_gettime(clock, &time);
  return static_cast<TimeNs>(time.tv_sec) * kSecond + time.tv_nsec;
}

}  // namespace

std::optional<ClockReading> read_clocks() {
  for (int tries = 0; tries < 8; ++tries) {
    const TimeNs before = read_clock(CLOCK_BOOTTIME);
    const TimeNs real = read_clock(CLOCK_REALTIME);
    const TimeNs after = read_clock(CLOCK_BOOTTIME);
    if (after - before <= 100 * kMicrosecond) return ClockReading{real, before + (after - before) / 2};
  }
  return std::nullopt;
}

bool clock_is_synchronised() {
  timex state{};
  return ::adjtimex(&state) >= 0 && (state.status & STA_UNSYNC) == 0;
}

TimeKeeper::TimeKeeper(ClockReading begin, SpanNs shift)
    : now_(begin), shift_(shift), shift_before_(shift), observed_before_(begin.real + shift) {}

std::optional<SpanNs> TimeKeeper::observe(ClockReading now) {
  const SpanNs step = (now.real - now.running) - (now_.real - now_.running);
  observed_before_ = this->now();
  const bool stepped = step > kSmallestStep || step < -kSmallestStep;
  if (stepped) {
    shift_before_ = shift_;
    shift_ -= step;
    stepped_at_ = now.running;
  } else if (now.running - stepped_at_ > kLongestWait) {
    shift_before_ = shift_;  // nobody waits any more that was stamped before the step
  }
  now_ = now;
  return stepped ? std::optional(step) : std::nullopt;
}

TimeNs TimeKeeper::stamp(TimeNs kernel_time) const {
  const TimeNs latest = now();
  const TimeNs time = kernel_time + shift_;
  if (shift_before_ == shift_) return std::min(time, latest);
  // Stamped by the clock before its step or after it: only one of the two lies in the time since the observe() before.
  const TimeNs old = kernel_time + shift_before_;
  const auto fits = [&](TimeNs candidate) {
    return candidate <= latest + kSmallestStep && candidate >= observed_before_ - kMillisecond;
  };
  if (fits(time)) return std::min(time, latest);
  if (fits(old)) return std::min(old, latest);
  // It waited longer: whichever is nearer to the present without lying in its future.
  const auto waited = [&](TimeNs candidate) { return candidate <= latest + kSmallestStep && candidate >= latest - kLongestWait; };
  if (waited(time)) return std::min(time, latest);
  if (waited(old)) return std::min(old, latest);
  return latest;
}

}  // namespace tramlog
