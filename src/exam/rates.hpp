// What a bus can carry.
#pragma once

#include "exam/bus_watch.hpp"
#include "implement/limits.hpp"

namespace tramlog {

inline constexpr std::uint64_t kDefaultBitrate = 250'000;  // ISO 11783-2

/// Bits that a second can hold.
inline double bits_of(const BusWatch& bus) {
  return static_cast<double>(bus.info.bitrate > 0 ? bus.info.bitrate : kDefaultBitrate);
}

/// Limits that are asked for each stream each second, looked up once.
struct RateLimits {
  explicit RateLimits(const SeedingLimits& limits)
      : load_high_pct(limits["bus.load_high_pct"]),
        flood_factor(limits["bus.flood_factor"]),
        flood_share_pct(limits["bus.flood_share_pct"]),
        flood_alone_share_pct(limits["bus.flood_alone_share_pct"]),
        flood_learned_s(limits["bus.flood_learned_s"]),
        flood_for_s(limits["bus.flood_for_s"]),
        late_factor(limits["message.jitter_late_factor"]) {}
  double load_high_pct, flood_factor, flood_share_pct, flood_alone_share_pct, flood_learned_s, flood_for_s,
      late_factor;
};

/// Likewise for supply voltages, in units of 0.05 V.
struct SupplyLimits {
  explicit SupplyLimits(const SeedingLimits& limits)
      : volts_24(limits["supply.volts_24"] / kVolts),
        low(limits["supply.low_v"] / kVolts),
        differs(limits["supply.differs_v"] / kVolts) {}
  static constexpr double kVolts = 0.05;
  double volts_24, low, differs;
};

}  // namespace tramlog
