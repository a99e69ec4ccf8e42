#include <fmt/format.h>

#include <algorithm>

#include "exam/cause.hpp"
#include "exam/cause_tools.hpp"

namespace tramlog::causes {

extern const Cause not_on_bus;

namespace {

// An entry of the roster that was never heard.
void propose(const Conclusions& all, const Observations&, std::vector<Finding>& findings) {
  if (!all.rollcall || all.nothing_read()) return;
  for (const RollcallEntry& entry : all.rollcall->entries) {
    if (entry.state != EntryState::missing || !entry.required) continue;
    SpanNs blind = 0;
    for (const BusSummary& bus : all.buses)
      for (const BlindSpan& span : bus.blind) blind += span.end - span.start;
    // Voices without a claim could be anybody, the missing one too.
    std::size_t unknown_voices = all.unclaimed.size();
    std::vector<std::size_t> announced;
    for (const std::size_t f : faults_with(all, "network.member-absent")) announced.push_back(f);
    Finding finding;
    finding.cause = not_on_bus.code;
    const bool doubtful = blind * 2 > all.end - all.start || unknown_voices > 0;
    finding.confidence = doubtful ? Confidence::possible : Confidence::likely;
    finding.weight = 100;
    finding.start = all.start;
    finding.text = fmt::format("{} has no power, no bus wires, or is not fitted.", entry.label);
    finding.why = {fmt::format(
        "Not one frame or address claim of it came in {}, while {} heard.", format_span(all.end - all.start),
        counted(all.controllers.size(), "other controller was", "other controllers were"))};
    if (announced.size() == 1 && all.faults[announced.front()].controllers.size() == 1) {
      finding.faults = announced;
      finding.why.push_back(fmt::format("{} counts on a working set member that never claimed: see {}.",
                                        controllers_words(all, all.faults[announced.front()].controllers),
                                        mark_words(all.faults[announced.front()].evidence.front().at)));
    }
    if (!entry.supply.empty()) {
      std::string there;
      std::string away;
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
    if (unknown_voices > 0)
      finding.why.push_back(fmt::format("But {} without an address claim; it may be one of them.",
                                        counted(unknown_voices, "address talked", "addresses talked")));
    if (blind > 0)
      finding.why.push_back(fmt::format("The recorder was blind for {} in all.", format_span(blind)));
    finding.next_steps = {fmt::format("Is {} fitted on this machine, and switched on?", entry.label),
                          "Its fuse, and the supply voltage at its plug.",
                          "Its plug and both bus wires of its stub.",
                          "Swap the unit, or plug it in place of a like one that is heard."};
    findings.push_back(std::move(finding));
  }
}

}  // namespace

const Cause not_on_bus{"controller.not-on-bus", propose};

}  // namespace tramlog::causes
