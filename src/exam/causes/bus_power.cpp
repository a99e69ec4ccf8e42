#include <fmt/format.h>

#include <algorithm>

#include "exam/cause.hpp"
#include "exam/cause_tools.hpp"

namespace tramlog::causes {

extern const Cause bus_power;

namespace {

std::string times_words(const std::vector<const BusSilence*>& silences) {
  constexpr std::size_t kNamed = 4;
  std::string text;
  for (std::size_t i = 0; i < std::min(silences.size(), kNamed); ++i)
    text += fmt::format("{}for {} from {}", i > 0 ? ", " : "",
                        format_span(silences[i]->judged_until - silences[i]->start.time),
                        mark_words(silences[i]->start));
  if (silences.size() > kNamed) text += fmt::format(" and {} more times", silences.size() - kNamed);
  return text;
}

// One finding for all silences of a bus that are of one kind.
void propose_for(const Conclusions& all, const Observations& seen, BusIndex bus, BusSilence::Verdict verdict,
                 std::vector<Finding>& findings) {
  std::vector<const BusSilence*> silences;
  for (const BusSilence& silence : all.silences)
    if (silence.bus == bus && silence.verdict == verdict) silences.push_back(&silence);
  if (silences.empty()) return;

  const bool unknown = verdict == BusSilence::Verdict::unknown;
  Finding finding;
  finding.cause = bus_power.code;
  finding.confidence = unknown ? Confidence::possible : Confidence::likely;
  finding.weight = 90;
  finding.start = silences.front()->start.time;
  std::size_t back = 0;
  std::size_t reclaimed = 0;
  bool errors = false;
  for (const BusSilence* silence : silences) {
    for (std::size_t d = 0; d < all.dropouts.size(); ++d) {
      const Dropout& dropout = all.dropouts[d];
      if (dropout.kind != DropoutKind::bus_silent || dropout.bus != bus) continue;
      if (dropout.judged_until < silence->start.time || dropout.start.time > silence->judged_until) continue;
      finding.dropouts.push_back(d);
      back += dropout.end.has_value();
      reclaimed += dropout.reclaimed;
    }
    for (const std::size_t f : faults_with(all, "bus.silent"))
      if (all.faults[f].bus == bus && all.faults[f].start == silence->start.time) finding.faults.push_back(f);
    for (const ErrorBurst& burst : seen.buses[bus].bursts)
      errors = errors || (burst.first.time <= silence->judged_until &&
                          burst.last.time >= silence->start.time - kSecond);
  }
  const std::string& name = all.buses[bus].name;
  finding.text =
      unknown
          ? fmt::format(
                "All of {} was silent; whether the bus or the recorder stopped, the capture cannot tell.",
                name)
          : fmt::format(
                "All of {} stopped: power of the whole bus, a short in its wires, or the recorder's own tap.",
                name);
  finding.why = {fmt::format("Not one frame came {}.", times_words(silences)),
                 fmt::format("Of the first silence: {}.", silences.front()->why)};
  if (back > 0)
    finding.why.push_back(
        reclaimed == 0 ? std::string("All came back without a new address claim: their power stayed on, "
                                     "so rather the wires or the recorder's tap.")
                       : fmt::format("{} of {} came back with a new address claim: their power had "
                                     "been off.",
                                     reclaimed, counted(back, "controller", "controllers")));
  finding.why.push_back(errors ? "Error frames came with it: see the evidence."
                               : "No error frame came with it.");
  finding.next_steps = {"The recorder's own plug at the diagnostic connector.",
                        "Supply of the bus: key position, main fuse, main ground.",
                        "Bus wires for a short, power off: unplug one segment after the other.",
                        "Bus termination at both ends."};
  findings.push_back(std::move(finding));
}

void propose(const Conclusions& all, const Observations& seen, std::vector<Finding>& findings) {
  for (std::size_t bus = 0; bus < all.buses.size(); ++bus)
    for (const auto verdict : {BusSilence::Verdict::silent, BusSilence::Verdict::unknown})
      propose_for(all, seen, static_cast<BusIndex>(bus), verdict, findings);
}

}  // namespace

const Cause bus_power{"bus.power-or-trunk", propose};

}  // namespace tramlog::causes
