#include <fmt/format.h>

#include <algorithm>

#include "exam/cause.hpp"
#include "isobus/speed.hpp"

namespace tramlog::causes {

extern const Cause speed_source;

namespace {

void tell(const Scene& scene, Finding& finding) {
  const Fault& fault = scene.all.faults[scene.incident.faults.front()];
  const std::string since =
      mark_words(fault.evidence.empty() ? Mark{fault.start, 0} : fault.evidence.front().at);
  std::string source = "A speed source";
  if (fault.code.rfind("position", 0) == 0) source = "The position source";
  // The sentence begins with the one that is lost or stands; others stand in it, too.
  std::size_t first = std::string::npos;
  for (std::size_t i = 0; i < kSpeedSources && source != "The position source"; ++i) {
    const char* const term = speed_source_term(static_cast<SpeedSource>(i));
    const std::size_t at = fault.text.find(term);
    if (at < first) source = fmt::format("The {}", term);
    first = std::min(first, at);
  }
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
