// Time stamps that lie far from those around them: what a flipped bit leaves of one.
#pragma once

#include <cstdint>
#include <optional>

#include "base/time.hpp"

namespace tramlog {

/// Blocks in a file may stand so far out of time order, or so far apart, without any doubt about their times.
inline constexpr SpanNs kFarOff = 2 * kSecond;

inline bool is_far_off(TimeNs time, TimeNs from) {
  constexpr auto kFar = static_cast<std::uint64_t>(kFarOff);
  return static_cast<std::uint64_t>(time) - static_cast<std::uint64_t>(from) + kFar > 2 * kFar;
}

/// `time` with one bit flipped back, if that and nothing else puts it between the two (either may be the
/// earlier).
std::optional<TimeNs> one_bit_between(TimeNs time, TimeNs one, TimeNs other);

}  // namespace tramlog
