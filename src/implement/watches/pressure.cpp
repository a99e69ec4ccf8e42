// Pressures against the declared minimum and maximum: product, pump output, agitation (DDIs 193 to 204),
// downforce as pressure (365, 366).
#include "implement/range_watch.hpp"

namespace tramlog::watches {

extern const DeviceWatchKind pressure;

const DeviceWatchKind pressure{
    "pressure", [](const Device& device) -> std::unique_ptr<DeviceWatch> {
      return std::make_unique<RangeWatch>(
          device,
          RangeTopic{"pressure.range", "pressure", "pressure.settle_s", nullptr, "pa",
                     "Not shown on this bus: no element tells a product, pump, agitation or downforce "
                     "pressure (DDI 194, 198, 202, 366)."},
          std::vector<RangeQuantity>{{194, 193, 195, 196, "product pressure"},
                                     {198, 197, 199, 200, "pump output pressure"},
                                     {202, 201, 203, 204, "agitation pressure"},
                                     {366, 365, 0, 0, "downforce pressure"}});
    }};

}  // namespace tramlog::watches
