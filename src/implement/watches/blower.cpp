// Blowers, and whatever else tells revolutions: against the declared minimum and maximum and the set speed
// (DDIs 389 to 393).
#include "implement/range_watch.hpp"

namespace tramlog::watches {

extern const DeviceWatchKind blower;

const DeviceWatchKind blower{
    "blower", [](const Device& device) -> std::unique_ptr<DeviceWatch> {
      return std::make_unique<RangeWatch>(
          device,
          RangeTopic{"blower.range", "blower", "blower.settle_s", "blower.set_tolerance_pct", "rpm",
                     "Not shown on this bus: no element tells revolutions (DDI 390); the standard has no "
                     "value of its own for a blower."},
          std::vector<RangeQuantity>{{390, 389, 392, 393, "speed"}});
    }};

}  // namespace tramlog::watches
