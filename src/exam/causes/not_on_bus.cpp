#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause not_on_bus;

namespace {

// Who else is on its supply, heard and not heard.
void supply_reasons(const Conclusions& all, const RollcallEntry& entry, Finding& finding) {
  if (entry.supply.empty()) return;
  std::string there, away;
  for (const RollcallEntry& other : all.rollcall->entries) {
    if (&other == &entry || other.supply != entry.supply) continue;
    std::string& list = other.controller ? there : away;
    list += (list.empty() ? "" : ", ") + other.label;
  }
  if (!there.empty())
    finding.why.push_back(
        fmt::format("Its supply \"{}\" also feeds {}, heard: so rather its own plug, fuse or wires.",
                    entry.supply, there));
  if (!away.empty())
    finding.why.push_back(fmt::format(
        "On the same supply \"{}\" {} is missing too: look at that supply first.", entry.supply, away));
}

void tell(const Scene& scene, Finding& finding) {
  const Conclusions& all = scene.all;
  const Incident& incident = scene.incident;
  const std::string heard = counted(all.controllers.size(), "other controller was", "other controllers were");
  if (incident.entries.empty()) {
    finding.text = "A controller that a working set counts on has no power, no bus wires, or is not fitted.";
    finding.why = {all.faults[incident.faults.front()].text};
  } else if (!incident.supply.empty()) {
    std::string labels;
    for (const std::size_t e : incident.entries)
      labels += (labels.empty() ? "" : ", ") + all.rollcall->entries[e].label;
    finding.text =
        fmt::format("The supply \"{}\" is off, or its part of the bus is cut off: {} were never heard.",
                    incident.supply, labels);
    finding.why = {fmt::format("Not one of the {} controllers on this supply was heard in {}.",
                               incident.entries.size(), format_span(all.end - all.start)),
                   fmt::format("{} heard.", heard)};
    finding.next_steps = {fmt::format("Fuse, relay and plug of the supply \"{}\".", incident.supply),
                          "Breakaway connector and bus wires towards these controllers.",
                          "Is this the machine of the roster, and the right bus?"};
  } else {
    const RollcallEntry& entry = all.rollcall->entries[incident.entries.front()];
    finding.text = fmt::format("{} has no power, no bus wires, or is not fitted.", entry.label);
    finding.why = {fmt::format("Not one frame or address claim of it came in {}, while {} heard.",
                               format_span(all.end - all.start), heard)};
    if (!incident.faults.empty()) finding.why.push_back(all.faults[incident.faults.front()].text);
    supply_reasons(all, entry, finding);
  }
  if (const SpanNs blind = blind_total(all); blind > 0)
    finding.against.push_back(fmt::format("The recorder was blind for {} in all.", format_span(blind)));
  if (!all.unclaimed.empty())
    finding.against.push_back(
        fmt::format("{} without an address claim; it may be one of them.",
                    counted(all.unclaimed.size(), "address talked", "addresses talked")));
  if (!finding.against.empty()) finding.confidence = Confidence::possible;
  if (!finding.next_steps.empty()) return;
  finding.next_steps = {incident.entries.empty()
                            ? std::string("Which controller is it, is it fitted, and switched on?")
                            : fmt::format("Is {} fitted on this machine, and switched on?",
                                          all.rollcall->entries[incident.entries.front()].label),
                        "Its fuse, and the supply voltage at its plug.",
                        "Its plug and both bus wires of its stub, key off first.",
                        "Swap the unit, or plug it in place of a like one that is heard."};
}

}  // namespace

const Cause not_on_bus{"controller.not-on-bus", bit_of(IncidentKind::missing), tell};

}  // namespace tramlog::causes
