#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause unit_supply;

namespace {

void tell(const Scene& scene, Finding& finding) {
  finding.text = fmt::format("Supply, ground or plug of {} alone {}, or a reset of the unit itself.",
                             who(scene), when(scene.incident));
  finding.next_steps = {
      fmt::format("Plug of {}, key off first: seated, locked, pins straight and dry.", who(scene)),
      "Its fuse and its ground.",
      "Voltage at its plug under load, against its own ground: under 1 V less than at the battery.",
      "If the supply is sound: its software, then swap the unit."};
}

}  // namespace

const Cause unit_supply{"supply.unit", bit_of(IncidentKind::silence) | bit_of(IncidentKind::restarts), tell};

}  // namespace tramlog::causes
