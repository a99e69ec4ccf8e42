#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause termination;

namespace {

void tell(const Scene& scene, Finding& finding) {
  finding.text = fmt::format(
      "Bus termination of {} is missing or doubled, or its wires are damaged: errors from all senders, "
      "nobody gone.",
      scene.incident.bus ? scene.all.buses[*scene.incident.bus].name : std::string("the bus"));
  finding.next_steps = {
      "Key off: 60 ohms between CAN_H and CAN_L is right; 120 ohms: one terminator is missing; 40 ohms: one "
      "too many.",
      "Terminators at both ends, at the breakaway connector with nothing plugged in, too.",
      "TBC_PWR at the connector's active terminator, key on.",
      "Unplug segments one after the other, key off each time, and look at the error count."};
}

}  // namespace

const Cause termination{"wiring.termination", bit_of(IncidentKind::errors), tell};

}  // namespace tramlog::causes
