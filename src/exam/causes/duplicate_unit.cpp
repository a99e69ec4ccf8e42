#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause duplicate_unit;

namespace {

void tell(const Scene& scene, Finding& finding) {
  const Fault& fault = scene.all.faults[scene.incident.faults.front()];
  finding.text = "Two units carry the same NAME.";
  if (!fault.controllers.empty()) {
    const Name name = scene.all.controllers[fault.controllers.front()].name;
    finding.text = fmt::format("Two units carry the same NAME {} ({}).", name.hex(), function_term(name));
  }
  finding.why = {fault.text};
  finding.next_steps = {"Set function instance or ECU instance of one of the two, by its manual.",
                        "Is a spare unit left plugged in?"};
}

}  // namespace

const Cause duplicate_unit{"network.equal-units", bit_of(IncidentKind::equal_units), tell};

}  // namespace tramlog::causes
