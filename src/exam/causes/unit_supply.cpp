#include <fmt/format.h>

#include <algorithm>

#include "exam/cause.hpp"
#include "exam/cause_tools.hpp"

namespace tramlog::causes {

extern const Cause unit_supply;

namespace {

// One unit alone loses power: it comes back with a new claim each time, all others go on.
void propose(const Conclusions& all, const Observations&, std::vector<Finding>& findings) {
  std::vector<std::vector<std::size_t>> by_controller(all.controllers.size());
  for (const DropoutEvent& event : dropout_events(all, DropoutKind::controller))
    if (event.controllers.size() == 1)
      by_controller[event.controllers.front()].insert(by_controller[event.controllers.front()].end(),
                                                      event.dropouts.begin(), event.dropouts.end());
  for (std::size_t c = 0; c < by_controller.size(); ++c) {
    const auto& dropouts = by_controller[c];
    std::vector<std::size_t> restarted;
    for (const std::size_t d : dropouts)
      if (all.dropouts[d].reclaimed) restarted.push_back(d);
    if (restarted.empty()) continue;
    bool supply_code = false;
    for (const DtcRecord& dtc : all.dtcs)
      supply_code = supply_code || (dtc.controller == c && dtc.dtc.spn == 168);
    Finding finding;
    finding.cause = unit_supply.code;
    finding.confidence = supply_code || restarted.size() >= 2 ? Confidence::likely : Confidence::possible;
    finding.weight = 60 + static_cast<unsigned>(std::min<std::size_t>(restarted.size(), 20));
    finding.dropouts = restarted;
    finding.start = all.dropouts[restarted.front()].start.time;
    finding.text = fmt::format("Supply, ground or plug of {} alone, or a reset of the unit itself.",
                               controller_words(all, c));
    finding.why = {fmt::format("{}, each time back with a new address claim: it had started again.",
                               silence_lengths(all, restarted)),
                   "No other controller dropped out with it."};
    if (supply_code)
      finding.why.push_back("It reported a trouble code of its supply voltage (SPN 168) itself.");
    finding.next_steps = {
        fmt::format("Plug of {}: seated, locked, pins straight and dry.", controller_words(all, c)),
        "Its fuse and its ground.", "Voltage at its plug under load.",
        "If the supply is sound: its software, then swap the unit."};
    findings.push_back(std::move(finding));
  }
}

}  // namespace

const Cause unit_supply{"supply.unit", propose};

}  // namespace tramlog::causes
