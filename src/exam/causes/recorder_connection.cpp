#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause recorder_connection;

namespace {

void tell(const Scene& scene, Finding& finding) {
  finding.text = fmt::format("The recorder's own tap of {} was open {}: nothing at all reached it.",
                             scene.all.buses[*scene.incident.bus].name, when(scene.incident));
  finding.next_steps = {"The recorder's plug at the diagnostic connector: locked, pins straight.",
                        "Ask the operator: did anything stop working at that time?",
                        "Record again; do not judge the machine by these times."};
}

}  // namespace

const Cause recorder_connection{"recorder.connection", bit_of(IncidentKind::bus_silence), tell};

}  // namespace tramlog::causes
