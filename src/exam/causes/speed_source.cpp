#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause speed_source;

namespace {

void tell(const Scene& scene, Finding& finding) {
  const Fault& fault = scene.all.faults[scene.incident.faults.front()];
  const std::string since =
      mark_words(fault.evidence.empty() ? Mark{fault.start, 0} : fault.evidence.front().at);
  finding.text =
      fault.code.rfind("position", 0) == 0
          ? fmt::format("The position source was lost or frozen from {} on, while its sender went on.", since)
          : fmt::format("A speed source was lost or frozen from {} on, while its sender went on.", since);
  finding.why = {fault.text};
  finding.next_steps = {"Sensor of that source (wheel, radar, antenna): plug, cable, dirt.",
                        "Which source is chosen in the display? Choose another one for a try.",
                        "Settings and software of the sender."};
}

}  // namespace

const Cause speed_source{"source.speed", bit_of(IncidentKind::source), tell};

}  // namespace tramlog::causes
