#include "io/lone_stamp.hpp"

#include <algorithm>

namespace tramlog {

std::optional<TimeNs> one_bit_between(TimeNs time, TimeNs one, TimeNs other) {
  const TimeNs low = std::min(one, other), high = std::max(one, other);
  std::optional<TimeNs> found;
  for (unsigned bit = 0; bit < 63; ++bit) {
    const TimeNs flipped = time ^ (TimeNs{1} << bit);
    if (flipped < low || flipped > high) continue;
    if (found) return std::nullopt;
    found = flipped;
  }
  return found;
}

}  // namespace tramlog
