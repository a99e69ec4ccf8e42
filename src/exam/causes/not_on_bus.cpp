#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>

#include "exam/cause.hpp"
#include "exam/cause_tools.hpp"

namespace tramlog::causes {

extern const Cause not_on_bus;

namespace {

// Two or more on one supply, and not one of that supply was heard: that is one cause. Returns the supplies
// told.
std::set<std::string> propose_supplies(const Conclusions& all, std::vector<Finding>& findings) {
  std::map<std::string, std::pair<std::vector<std::string>, unsigned>>
      supplies;  // missing labels, others heard
  for (const RollcallEntry& entry : all.rollcall->entries) {
    if (entry.supply.empty()) continue;
    auto& [missing, heard] = supplies[entry.supply];
    if (entry.state == EntryState::missing && entry.required) missing.push_back(entry.label);
    if (entry.controller) ++heard;
  }
  std::set<std::string> told;
  for (const auto& [supply, members] : supplies) {
    const auto& [missing, heard] = members;
    if (missing.size() < 2 || heard > 0) continue;
    told.insert(supply);
    std::string labels;
    for (const std::string& label : missing) labels += (labels.empty() ? "" : ", ") + label;
    Finding finding;
    finding.cause = not_on_bus.code;
    finding.confidence = all.unclaimed.empty() ? Confidence::likely : Confidence::possible;
    finding.weight = 110;
    finding.start = all.start;
    finding.text = fmt::format(
        "The supply \"{}\" is off, or its part of the bus is cut off: {} were never heard.", supply, labels);
    finding.why = {fmt::format("Not one of the {} controllers on this supply was heard in {}.",
                               missing.size(), format_span(all.end - all.start)),
                   fmt::format("{} heard.", counted(all.controllers.size(), "other controller was",
                                                    "other controllers were"))};
    finding.next_steps = {fmt::format("Fuse, relay and plug of the supply \"{}\".", supply),
                          "Breakaway connector and bus wires towards these controllers.",
                          "Is this the machine of the roster, and the right bus?"};
    findings.push_back(std::move(finding));
  }
  return told;
}

// An entry of the roster that was never heard.
void propose(const Conclusions& all, const Observations&, std::vector<Finding>& findings) {
  if (!all.rollcall || all.nothing_read()) return;
  const auto dead_supplies = propose_supplies(all, findings);
  for (const RollcallEntry& entry : all.rollcall->entries) {
    if (entry.state != EntryState::missing || !entry.required || dead_supplies.count(entry.supply)) continue;
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
