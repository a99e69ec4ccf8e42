#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause recorder_trouble;

namespace {

void tell(const Scene& scene, Finding& finding) {
  SpanNs blind = 0;
  std::uint64_t lost = 0;
  for (const BusSummary& bus : scene.all.buses)
    for (const BlindSpan& span : bus.blind) {
      blind += span.end - span.start;
      lost += span.frames_lost.value_or(0);
    }
  finding.text =
      "The recorder did not hear everything: in those times this report says nothing of the machine.";
  finding.why = {fmt::format(
      "Blind for {} in {}{}.", format_span(blind), counted(scene.incident.faults.size(), "span", "spans"),
      lost > 0 ? fmt::format(", {} counted as lost", counted(lost, "frame", "frames")) : "")};
  finding.next_steps = {"The recorder's supply and plug.", "Its bit rate and the state of its interface.",
                        "Record again; do not judge the machine by these times."};
}

}  // namespace

const Cause recorder_trouble{"recorder.blind", bit_of(IncidentKind::recorder), tell};

}  // namespace tramlog::causes
