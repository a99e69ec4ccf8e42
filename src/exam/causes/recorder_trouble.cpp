#include <fmt/format.h>

#include <algorithm>

#include "exam/cause.hpp"
#include "exam/cause_tools.hpp"

namespace tramlog::causes {

extern const Cause recorder_trouble;

namespace {

// The recorder's own trouble is a finding too, or somebody takes its silence for the machine's health.
void propose(const Conclusions& all, const Observations&, std::vector<Finding>& findings) {
  Finding finding;
  finding.cause = recorder_trouble.code;
  for (const std::size_t f : faults_with(all, "recorder.blind"))
    if (all.faults[f].severity != Severity::note) finding.faults.push_back(f);
  if (finding.faults.empty()) return;
  SpanNs blind = 0;
  std::uint64_t lost = 0;
  for (const BusSummary& bus : all.buses)
    for (const BlindSpan& span : bus.blind) {
      blind += span.end - span.start;
      lost += span.frames_lost.value_or(0);
    }
  finding.confidence = Confidence::certain;
  finding.weight = 10;
  finding.start = all.faults[finding.faults.front()].start;
  finding.text =
      "The recorder did not hear everything: in those times this report says nothing of the machine.";
  finding.why = {fmt::format(
      "Blind for {} in {}{}.", format_span(blind), counted(finding.faults.size(), "span", "spans"),
      lost > 0 ? fmt::format(", {} counted as lost", counted(lost, "frame", "frames")) : "")};
  finding.next_steps = {"The recorder's supply and plug.", "Its bit rate and the state of its interface.",
                        "Record again; do not judge the machine by these times."};
  findings.push_back(std::move(finding));
}

}  // namespace

const Cause recorder_trouble{"recorder.blind", propose};

}  // namespace tramlog::causes
