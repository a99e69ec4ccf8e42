#include <fmt/format.h>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check identity_changed;

namespace {

void judge(const Conclusions& all, const Observations&, std::vector<Fault>& faults) {
  if (!all.rollcall) return;
  for (const RollcallEntry& entry : all.rollcall->entries) {
    if (entry.state != EntryState::missing || !entry.stand_in) continue;
    const ControllerRecord& other = all.controllers[*entry.stand_in];
    Fault fault;
    fault.code = identity_changed.code;
    fault.severity = Severity::note;
    fault.start = other.first_seen.time;
    fault.controllers = {*entry.stand_in};
    fault.bus = other.bus;
    fault.text = fmt::format(
        "Another unit does the job of {}: {}, identity number {}, maker code {}; the roster has another "
        "identity number. If the "
        "unit was replaced, learn the roster anew.",
        entry.label, controller_words(all, *entry.stand_in), other.name.identity_number(),
        other.name.manufacturer_code());
    fault.evidence.push_back({other.first_seen, "first frame of the other unit"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check identity_changed{
    "controller.identity-changed",
    "The roster knows a unit by its identity number, and another one that is equal in all but this is there "
    "instead: it was replaced (fact sheet 2.1).",
    judge};

}  // namespace tramlog::checks
