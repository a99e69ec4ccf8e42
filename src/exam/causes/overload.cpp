#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause overload;

namespace {

void tell(const Scene& scene, Finding& finding) {
  finding.text =
      fmt::format("{} carries more than it can: the sum of all senders, low priorities come late.",
                  scene.incident.bus ? scene.all.buses[*scene.incident.bus].name : std::string("The bus"));
  finding.next_steps = {"The loudest senders in tramlog report: which rates can be lowered?",
                        "Move units that talk to each other only to a bus of their own.",
                        "Switch off what is not needed (diagnostics, logging functions of the display)."};
}

}  // namespace

const Cause overload{"bus.overload", bit_of(IncidentKind::load), tell};

}  // namespace tramlog::causes
