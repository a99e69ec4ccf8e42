#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause bit_rate;

namespace {

void tell(const Scene& scene, Finding& finding) {
  finding.text =
      fmt::format("Wrong bit rate on {}: of one unit, or of the recorder itself.",
                  scene.incident.bus ? scene.all.buses[*scene.incident.bus].name : std::string("the bus"));
  std::string away;
  for (const std::size_t e : scene.incident.entries)
    away += (away.empty() ? "" : ", ") + scene.all.rollcall->entries[e].label;
  if (!away.empty() && !scene.all.controllers.empty()) {
    finding.text += fmt::format(" Never understood: {}.", away);
    finding.next_steps = {fmt::format("Unplug {} first, key off: do the errors end?", away)};
  }
  const std::vector<std::string> steps = {
      "The recorder's own bit rate: 250 kbit/s on an ISO 11783 bus; CAN_H and CAN_L not crossed.",
      "Does the machine itself work? Then it is the recorder.",
      "Unplug the units one after the other, key off each time, until the errors end."};
  finding.next_steps.insert(finding.next_steps.end(), steps.begin(), steps.end());
}

}  // namespace

const Cause bit_rate{"bus.bit-rate", bit_of(IncidentKind::errors), tell};

}  // namespace tramlog::causes
