#include <fmt/format.h>

#include <algorithm>

#include "exam/cause.hpp"
#include "exam/cause_tools.hpp"

namespace tramlog::causes {

extern const Cause stub_wire;

namespace {

// One unit falls silent and comes back without starting again: it was alive, but not on the wire.
void propose(const Conclusions& all, const Observations&, std::vector<Finding>& findings) {
  for (std::size_t c = 0; c < all.controllers.size(); ++c) {
    std::vector<std::size_t> mine;
    for (const DropoutEvent& event : dropout_events(all, DropoutKind::controller))
      if (event.controllers.size() == 1 && event.controllers.front() == c)
        for (const std::size_t d : event.dropouts)
          if (all.dropouts[d].end && !all.dropouts[d].reclaimed) mine.push_back(d);
    if (mine.empty()) continue;
    const auto complaints = complaints_about(all, all.controllers[c].address);
    Finding finding;
    finding.cause = stub_wire.code;
    finding.confidence = Confidence::likely;
    finding.weight = 60 + static_cast<unsigned>(std::min<std::size_t>(mine.size(), 20));
    finding.dropouts = mine;
    finding.start = all.dropouts[mine.front()].start.time;
    finding.text =
        fmt::format("The bus wires (CAN_H, CAN_L) to {} alone opened for a while.", controller_words(all, c));
    finding.why = {fmt::format("{}, and it came back without a new address claim: it had not lost its power.",
                               silence_lengths(all, mine)),
                   "No other controller dropped out with it."};
    for (const std::size_t d : complaints)
      finding.why.push_back(fmt::format("{} reported that it missed it (SPN {}, FMI {}) at {}.",
                                        voice_words(all, all.dtcs[d].controller, all.dtcs[d].address),
                                        all.dtcs[d].dtc.spn, all.dtcs[d].dtc.fmi,
                                        mark_words(all.dtcs[d].first_active)));
    finding.next_steps = {
        fmt::format("Bus pins in the plug of {} and of its stub.", controller_words(all, c)),
        "Continuity of both bus wires of that stub while they are moved, power off.",
        "If the wires are sound: the unit's transceiver, swap the unit."};
    findings.push_back(std::move(finding));
  }
}

}  // namespace

const Cause stub_wire{"wiring.stub", propose};

}  // namespace tramlog::causes
