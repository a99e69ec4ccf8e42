// The lines meter.* and the record of one meter.
#pragma once

#include "implement/device.hpp"
#include "implement/meter_tally.hpp"

namespace tramlog {

/// Appends to `pairs` and `lines`.
void tell_meter(const Device& device, const MeterTally& tally, ImplementRecord& out);
/// A device that has no meter at all.
void tell_no_meters(ImplementRecord& out);

}  // namespace tramlog
