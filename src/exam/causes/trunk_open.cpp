#include <fmt/format.h>

#include <algorithm>

#include "exam/cause.hpp"
#include "exam/cause_tools.hpp"

namespace tramlog::causes {

extern const Cause trunk_open;

namespace {

// Several fall silent together and come back without starting again: cut off by a break between them and us.
void propose(const Conclusions& all, const Observations&, std::vector<Finding>& findings) {
  for (const DropoutEvent& event : dropout_events(all, DropoutKind::controller)) {
    if (event.controllers.size() < 2 || !event.all_returned || !event.none_reclaimed) continue;
    const auto others = unaffected(all, event);
    Finding finding;
    finding.cause = trunk_open.code;
    finding.confidence = others.empty() ? Confidence::possible : Confidence::likely;
    finding.weight = 70 + static_cast<unsigned>(event.controllers.size());
    finding.dropouts = event.dropouts;
    finding.start = event.start.time;
    finding.text = fmt::format("The bus trunk opened between {} and the rest {}.",
                               controllers_words(all, event.controllers), times_words(event));
    finding.why = {fmt::format("{}, together, and none made a new address claim: their power stayed on.",
                               silence_lengths(all, event.dropouts))};
    if (!others.empty())
      finding.why.push_back(fmt::format("{} went on talking: {}.",
                                        counted(others.size(), "controller", "controllers"),
                                        controllers_words(all, others)));
    finding.next_steps = {"Connectors of the trunk between these controllers and the others.",
                          "Both bus wires for continuity, power off, while the harness is moved.",
                          "Bus termination at both ends."};
    findings.push_back(std::move(finding));
  }
}

}  // namespace

const Cause trunk_open{"wiring.trunk", propose};

}  // namespace tramlog::causes
