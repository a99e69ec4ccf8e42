#include "io/tick_scale.hpp"

#include <algorithm>

namespace tramlog {
namespace {

__extension__ using Wide = unsigned __int128;

std::uint64_t power_of_ten(unsigned n) {
  std::uint64_t value = 1;
  while (n-- > 0) value *= 10;
  return value;
}

constexpr unsigned kNanoDigits = 9;
constexpr unsigned kMostDigits = 19;  // of a power of ten in 64 bits

}  // namespace

TickScale::TickScale(std::uint8_t resolution, std::int64_t offset_s) : resolution_(resolution) {
  const std::int64_t limit_s = kTimeLimit / kSecond;
  offset_ns_ = std::clamp(offset_s, -limit_s, limit_s) * kSecond;
  const bool decimal = (resolution & 0x80) == 0;
  if (decimal && resolution <= kNanoDigits) factor_ = power_of_ten(kNanoDigits - resolution);
  if (decimal && resolution <= kNanoDigits && offset_ns_ == 0)
    plain_below_ = static_cast<std::uint64_t>(kTimeLimit) / factor_ + 1;
}

TimeNs TickScale::to_time_widely(std::uint64_t ticks) const {
  const unsigned n = resolution_ & 0x7F;
  Wide ns = 0;
  if ((resolution_ & 0x80) != 0)
    ns = (static_cast<Wide>(ticks) * static_cast<Wide>(kSecond)) >> n;  // 94 bits; n is at most 127
  else if (n <= kNanoDigits)
    ns = static_cast<Wide>(ticks) * factor_;
  else if (n - kNanoDigits <= kMostDigits)
    ns = ticks / power_of_ten(n - kNanoDigits);
  const TimeNs since_offset = ns > static_cast<Wide>(kTimeLimit) ? kTimeLimit : static_cast<TimeNs>(ns);
  return std::clamp(since_offset + offset_ns_, -kTimeLimit, kTimeLimit);
}

}  // namespace tramlog
