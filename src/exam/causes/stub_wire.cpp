#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause stub_wire;

namespace {

void tell(const Scene& scene, Finding& finding) {
  finding.text =
      fmt::format("The bus wires (CAN_H, CAN_L) to {} alone opened {}.", who(scene), when(scene.incident));
  finding.next_steps = {fmt::format("Bus pins in the plug of {} and of its stub, key off first.", who(scene)),
                        "Continuity of both bus wires of that stub while they are moved, power off.",
                        "If the wires are sound: the unit's transceiver, swap the unit."};
}

}  // namespace

const Cause stub_wire{"wiring.stub", bit_of(IncidentKind::silence), tell};

}  // namespace tramlog::causes
