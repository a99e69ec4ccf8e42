#include <fmt/format.h>

#include <algorithm>

#include "exam/cause.hpp"
#include "exam/cause_tools.hpp"

namespace tramlog::causes {

extern const Cause bus_power;

namespace {

// The whole bus stopped while the recorder could hear: its power, a short, or our own tap.
void propose(const Conclusions& all, const Observations& seen, std::vector<Finding>& findings) {
  for (const BusSilence& silence : all.silences) {
    const bool unknown = silence.verdict == BusSilence::Verdict::unknown;
    if (!unknown && silence.verdict != BusSilence::Verdict::silent) continue;
    Finding finding;
    finding.cause = bus_power.code;
    finding.confidence = unknown ? Confidence::possible : Confidence::likely;
    finding.weight = 90;
    finding.start = silence.start.time;
    std::size_t members = 0;
    std::size_t reclaimed = 0;
    for (std::size_t d = 0; d < all.dropouts.size(); ++d) {
      const Dropout& dropout = all.dropouts[d];
      if (dropout.kind != DropoutKind::bus_silent || dropout.bus != silence.bus) continue;
      if (dropout.judged_until < silence.start.time || dropout.start.time > silence.judged_until) continue;
      finding.dropouts.push_back(d);
      ++members;
      reclaimed += dropout.reclaimed;
    }
    for (const std::size_t f : faults_with(all, "bus.silent"))
      if (all.faults[f].bus == silence.bus && all.faults[f].start == silence.start.time)
        finding.faults.push_back(f);
    const std::string& bus = all.buses[silence.bus].name;
    finding.text =
        unknown ? fmt::format("All of {} was silent from {}; bus or recorder, the capture cannot tell.", bus,
                              mark_words(silence.start))
                : fmt::format(
                      "All of {} stopped at {}: power of the whole bus, a short in its wires, or the "
                      "recorder's own "
                      "tap.",
                      bus, mark_words(silence.start));
    finding.why = {fmt::format("For {} not one frame came; {}.",
                               format_span(silence.judged_until - silence.start.time), silence.why)};
    if (members > 0 && silence.end)
      finding.why.push_back(
          reclaimed == 0
              ? std::string("All came back without a new address claim: their power stayed on, so "
                            "rather the wires or the recorder's tap.")
              : fmt::format("{} of {} controllers came back with a new address claim: their power had "
                            "been off.",
                            reclaimed, members));
    bool errors = false;
    for (const ErrorBurst& burst : seen.buses[silence.bus].bursts)
      errors = errors ||
               (burst.first.time <= silence.judged_until && burst.last.time >= silence.start.time - kSecond);
    finding.why.push_back(errors ? "Error frames came with it: see the evidence."
                                 : "No error frame came with it.");
    finding.next_steps = {"The recorder's own plug at the diagnostic connector.",
                          "Supply of the bus: key position, main fuse, main ground.",
                          "Bus wires for a short, power off: unplug one segment after the other.",
                          "Bus termination at both ends."};
    findings.push_back(std::move(finding));
  }
}

}  // namespace

const Cause bus_power{"bus.power-or-trunk", propose};

}  // namespace tramlog::causes
