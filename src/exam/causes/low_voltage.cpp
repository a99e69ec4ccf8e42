#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause low_voltage;

namespace {

void tell(const Scene& scene, Finding& finding) {
  finding.text = fmt::format("The system's voltage sinks: {} went one after the other, {}.", who(scene),
                             when(scene.incident));
  finding.next_steps = {
      "Battery voltage with the engine running and consumers on: 13 V at least (24 V systems: 26 V).",
      "Alternator: belt, charge lamp, cable and fuse to the battery.",
      "Battery cables and main ground: tight and clean, voltage drop under load.",
      "Take large consumers off (fan drives, work lights) until it is repaired."};
}

}  // namespace

const Cause low_voltage{"supply.low-voltage", bit_of(IncidentKind::silence), tell};

}  // namespace tramlog::causes
