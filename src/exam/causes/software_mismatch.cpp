#include <fmt/format.h>

#include <algorithm>

#include "exam/cause.hpp"
#include "exam/cause_tools.hpp"

namespace tramlog::causes {

extern const Cause software_mismatch;

namespace {

void propose(const Conclusions& all, const Observations&, std::vector<Finding>& findings) {
  if (!all.rollcall) return;
  for (const RollcallEntry& entry : all.rollcall->entries) {
    if (entry.state != EntryState::wrong_software || !entry.controller) continue;
    const ControllerRecord& controller = all.controllers[*entry.controller];
    Finding finding;
    finding.cause = software_mismatch.code;
    finding.confidence = Confidence::certain;
    finding.weight = 50;
    finding.start = controller.software_reported ? controller.software_reported->time : all.start;
    finding.text = fmt::format("{} runs other software than the roster asks for.",
                               controller_words(all, *entry.controller));
    finding.why = {entry.detail + "."};
    if (controller.software_reported)
      finding.why.push_back(
          fmt::format("It reported its software at {}.", mark_words(*controller.software_reported)));
    finding.next_steps = {"Is the roster that of this machine and season?",
                          "Update this controller, and its partners to the level that belongs to it."};
    findings.push_back(std::move(finding));
  }
}

}  // namespace

const Cause software_mismatch{"software.mismatch", propose};

}  // namespace tramlog::causes
