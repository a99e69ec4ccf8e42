#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause unit_restarts;

namespace {

void tell(const Scene& scene, Finding& finding) {
  finding.text = fmt::format("{} starts again by itself {}: its own software or hardware.", who(scene),
                             when(scene.incident));
  finding.next_steps = {"What was done or commanded just before each restart: always the same?",
                        "Voltage at its plug while it restarts: if it holds, it is not the supply.",
                        "Its software: version, known faults, update.",
                        "Swap the unit for a like one, key off first."};
}

}  // namespace

const Cause unit_restarts{"unit.restarts", bit_of(IncidentKind::silence) | bit_of(IncidentKind::restarts),
                          tell};

}  // namespace tramlog::causes
