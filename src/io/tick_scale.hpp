// From the time stamp units of one interface to nanoseconds (fact sheet 8.5: if_tsresol, if_tsoffset).
#pragma once

#include <cstdint>

#include "base/time.hpp"

namespace tramlog {

/// Times are held within +-2^62 ns (years 1823 to 2116), so that a difference of two never overflows.
inline constexpr TimeNs kTimeLimit = (TimeNs{1} << 62) - 1;

class TickScale {
 public:
  /// Microseconds, the default of both formats.
  TickScale() : TickScale(6, 0) {}
  /// `resolution` as in if_tsresol: top bit 0: units of 10^-n s, top bit 1: 2^-n s. `offset_s` is added.
  TickScale(std::uint8_t resolution, std::int64_t offset_s);

  /// A time beyond the limits becomes the limit.
  TimeNs to_time(std::uint64_t ticks) const {
    if (ticks < plain_below_) [[likely]]
      return static_cast<TimeNs>(ticks * factor_);
    return to_time_widely(ticks);
  }

 private:
  TimeNs to_time_widely(std::uint64_t ticks) const;

  std::uint64_t plain_below_ = 0;  // below this a multiplication does it
  std::uint64_t factor_ = 1;
  TimeNs offset_ns_ = 0;
  std::uint8_t resolution_;
};

}  // namespace tramlog
