#include <fmt/format.h>

#include <algorithm>

#include "exam/cause.hpp"
#include "exam/cause_tools.hpp"

namespace tramlog::causes {

extern const Cause hitch_connector;

namespace {

// Everything behind the hitch went at once while the tractor's side went on: what lies between is the
// connector.
void propose(const Conclusions& all, const Observations& seen, std::vector<Finding>& findings) {
  for (const DropoutEvent& event : dropout_events(all, DropoutKind::controller)) {
    unsigned implement = 0;
    for (const std::size_t c : event.controllers) implement += side_of(all, c).implement;
    if (implement < 2 || implement != event.controllers.size()) continue;
    const auto others = unaffected(all, event);
    unsigned implement_unaffected = 0;
    unsigned tractor_unaffected = 0;
    bool sides_known = true;
    for (const std::size_t c : others) {
      const SideGuess side = side_of(all, c);
      (side.implement ? implement_unaffected : tractor_unaffected)++;
    }
    for (const std::size_t c : event.controllers) sides_known = sides_known && side_of(all, c).known;
    if (implement_unaffected > 0 || tractor_unaffected == 0) continue;

    // Contacts that bounce disturb the wire; a fuse does not.
    const ErrorBurst* burst = nullptr;
    const BusIndex bus = all.dropouts[event.dropouts.front()].bus;
    for (const ErrorBurst& candidate : seen.buses[bus].bursts)
      if (candidate.first.time <= event.start.time + kSecond &&
          candidate.last.time >= event.start.time - kSecond)
        burst = &candidate;
    Finding finding;
    finding.cause = hitch_connector.code;
    finding.confidence = burst || (sides_known && implement >= 3) ? Confidence::likely : Confidence::possible;
    finding.weight = (burst ? 90 : 75) + implement;
    finding.dropouts = event.dropouts;
    finding.start = event.start.time;
    finding.text = fmt::format(
        "The implement bus breakaway connector or the implement's main supply opened {}: all {} "
        "controllers of the implement dropped out together.",
        times_words(event), implement);
    finding.why.push_back(fmt::format("{} and no other controller of the implement was left.",
                                      controllers_words(all, event.controllers)));
    finding.why.push_back(fmt::format("The tractor's side went on: {}.", controllers_words(all, others)));
    if (burst)
      finding.why.push_back(fmt::format("{} at {}.",
                                        counted(burst->frames, "error frame came", "error frames came"),
                                        mark_words(burst->first)));
    if (event.all_reclaimed)
      finding.why.push_back("All came back with new address claims: their power had been off.");
    if (!sides_known)
      finding.why.push_back(
          "Which controllers are the implement's is taken from their NAMEs; a roster would say it.");
    finding.next_steps = {
        "Breakaway connector: locked, straight pins, no corrosion, no pull on the cable.",
        "Implement supply at the connector (ECU_PWR against ECU_GND, PWR against GND; pins by the "
        "machine's manual).",
        "Fuse and relay of the implement supply on the tractor.",
        "Bus termination at both ends after plugging and unplugging."};
    findings.push_back(std::move(finding));
  }
}

}  // namespace

const Cause hitch_connector{"connector.hitch", propose};

}  // namespace tramlog::causes
