#include <fmt/format.h>

#include <algorithm>

#include "exam/cause.hpp"
#include "exam/cause_tools.hpp"

namespace tramlog::causes {

extern const Cause duplicate_unit;

namespace {

void propose(const Conclusions& all, const Observations&, std::vector<Finding>& findings) {
  for (const std::size_t f : faults_with(all, "network.duplicate-name")) {
    const Fault& fault = all.faults[f];
    const ControllerRecord& controller = all.controllers[fault.controllers.front()];
    Finding finding;
    finding.cause = duplicate_unit.code;
    finding.confidence = fault.severity == Severity::fault ? Confidence::likely : Confidence::possible;
    finding.weight = 85;
    finding.start = fault.start;
    finding.faults = {f};
    finding.text = fmt::format("Two units carry the same NAME {} ({}).", controller.name.hex(),
                               function_term(controller.name));
    finding.why = {fault.text};
    finding.next_steps = {"Set function instance or ECU instance of one of the two, by its manual.",
                          "Is a spare unit left plugged in?"};
    findings.push_back(std::move(finding));
  }
}

}  // namespace

const Cause duplicate_unit{"network.equal-units", propose};

}  // namespace tramlog::causes
