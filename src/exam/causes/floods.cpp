#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause floods;

namespace {

void tell(const Scene& scene, Finding& finding) {
  finding.text = fmt::format("{} floods the bus: one message far faster than it should come.",
                             scene.incident.controllers.empty() ? std::string("One unit") : who(scene));
  finding.next_steps = {"Key off, unplug that unit: does the load fall to what is usual?",
                        "Its software: version, settings, update.", "Swap the unit."};
}

}  // namespace

const Cause floods{"unit.floods", bit_of(IncidentKind::load), tell};

}  // namespace tramlog::causes
