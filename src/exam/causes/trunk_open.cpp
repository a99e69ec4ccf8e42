#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause trunk_open;

namespace {

void tell(const Scene& scene, Finding& finding) {
  finding.text =
      fmt::format("The bus trunk opened between {} and the rest {}.", who(scene), when(scene.incident));
  finding.next_steps = {"Connectors of the trunk between these controllers and the others, key off first.",
                        "Both bus wires for continuity, power off, while the harness is moved.",
                        "Bus termination at both ends: 60 ohms between the wires, power off."};
}

}  // namespace

const Cause trunk_open{"wiring.trunk", bit_of(IncidentKind::silence), tell};

}  // namespace tramlog::causes
