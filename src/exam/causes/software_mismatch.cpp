#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause software_mismatch;

namespace {

void tell(const Scene& scene, Finding& finding) {
  const Conclusions& all = scene.all;
  finding.next_steps = {"Is the roster that of this machine and season?",
                        "Update this controller, and its partners to the level that belongs to it."};
  if (scene.incident.entries.empty()) {
    const Fault& fault = all.faults[scene.incident.faults.front()];
    finding.text =
        fmt::format("Software of {} does not fit its partners.",
                    scene.incident.controllers.empty() ? std::string("some controllers") : who(scene));
    finding.why = {fault.text};
    return;
  }
  const RollcallEntry& entry = all.rollcall->entries[scene.incident.entries.front()];
  finding.text = fmt::format("{} runs other software than the roster asks for.",
                             controller_words(all, *entry.controller));
  finding.why = {entry.detail + "."};
  if (const auto& reported = all.controllers[*entry.controller].software_reported)
    finding.why.push_back(fmt::format("It reported its software at {}.", mark_words(*reported)));
}

}  // namespace

const Cause software_mismatch{"software.mismatch", bit_of(IncidentKind::software), tell};

}  // namespace tramlog::causes
