#include <fmt/format.h>

#include <algorithm>

#include "exam/cause.hpp"
#include "exam/cause_tools.hpp"

namespace tramlog::causes {

extern const Cause gone_for_good;

namespace {

// One unit stopped and never came back: power, wire or box; what was heard cannot tell which.
void propose(const Conclusions& all, const Observations&, std::vector<Finding>& findings) {
  for (const DropoutEvent& event : dropout_events(all, DropoutKind::controller)) {
    if (event.controllers.size() != 1 || event.dropouts.size() != 1) continue;
    const std::size_t c = event.controllers.front();
    const Dropout& dropout = all.dropouts[event.dropouts.front()];
    if (dropout.end) continue;
    const auto complaints = complaints_about(all, dropout.address);
    Finding finding;
    finding.cause = gone_for_good.code;
    finding.confidence = Confidence::likely;
    finding.weight = 70;
    finding.dropouts = event.dropouts;
    finding.start = event.start.time;
    finding.text = fmt::format("{} lost its power or its bus wires, or failed, at {}.",
                               controller_words(all, c), mark_words(event.start));
    finding.why = {
        fmt::format("It had sent every {} until then and was silent for {} until the capture's end.",
                    format_span(dropout.fastest_period),
                    format_span(dropout.judged_until - dropout.start.time)),
        "No other controller dropped out with it."};
    for (const std::size_t d : complaints)
      finding.why.push_back(fmt::format("{} reported that it missed it (SPN {}, FMI {}).",
                                        voice_words(all, all.dtcs[d].controller, all.dtcs[d].address),
                                        all.dtcs[d].dtc.spn, all.dtcs[d].dtc.fmi));
    finding.next_steps = {fmt::format("Fuse and supply voltage of {}.", controller_words(all, c)),
                          "Its plug and both bus wires of its stub.", "Swap the unit."};
    findings.push_back(std::move(finding));
  }
}

}  // namespace

const Cause gone_for_good{"unit.lost", propose};

}  // namespace tramlog::causes
