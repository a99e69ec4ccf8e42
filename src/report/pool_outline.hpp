// A device description in short lines, so that two reports can be held against each other.
#pragma once

#include <string>
#include <vector>

#include "isobus/device_pool.hpp"

namespace tramlog {

struct PoolOutline {
  /// One line for each element, variable and property, in the pool's order: `element 2 "Boom": function in
  /// element 0`, `element 2 DDI 67: property 6000`, `element 2 DDI 141: variable, settable, on change`. At
  /// most kMaxOutline.
  std::vector<std::string> lines;
  std::size_t not_listed = 0;
  std::string
      digest;  // of all lines, also those not listed; 16 hex digits. Says nothing of serial number and NAME
};
inline constexpr std::size_t kMaxOutline = 400;

PoolOutline pool_outline(const DevicePool& pool);

}  // namespace tramlog
