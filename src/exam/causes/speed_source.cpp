#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause speed_source;

namespace {

void tell(const Scene& scene, Finding& finding) {
  const Fault& fault = scene.all.faults[scene.incident.faults.front()];
  const std::string since =
      mark_words(fault.evidence.empty() ? Mark{fault.start, 0} : fault.evidence.front().at);
  std::string source = fault.code.rfind("position", 0) == 0 ? "The position source" : "A speed source";
  for (const char* term : {"wheel-based speed", "ground-based speed", "machine selected speed", "positioning speed"})
    if (fault.text.find(term) != std::string::npos && source == "A speed source") source = fmt::format("The {}", term);
  finding.text = fmt::format("{} was lost or frozen from {}{}, while its sender went on.", source, since,
                             fault.end && *fault.end < scene.all.end
                                 ? fmt::format(" for {}", format_span(span_between(fault.start, *fault.end)))
                                 : " on");
  finding.why = {fault.text};
  finding.next_steps = {"Sensor of that source (wheel, radar, antenna): plug, cable, dirt.",
                        "Which source is chosen in the display? Choose another one for a try.",
                        "Settings and software of the sender."};
}

}  // namespace

const Cause speed_source{"source.speed", bit_of(IncidentKind::source), tell};

}  // namespace tramlog::causes
