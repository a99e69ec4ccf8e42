#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check member_absent;

namespace {

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (const AnnouncedMember& member : seen.announced) {
    if (member.heard) continue;
    // Only a set that started under our ears proves anything: members claim before they are announced.
    bool start_heard = false;
    if (member.master)
      start_heard = all.controllers[*member.master].first_seen.time < member.at.time &&
                    all.controllers[*member.master].claims > 0 &&
                    all.controllers[*member.master].first_seen.time - all.start > kClaimSettle;
    const bool voices_unknown = !all.unclaimed.empty();
    Fault fault;
    fault.code = member_absent.code;
    fault.severity = start_heard && !voices_unknown ? Severity::fault : Severity::warning;
    fault.start = member.at.time;
    if (member.master) fault.controllers = {*member.master};
    fault.bus = member.bus;
    fault.text = fmt::format("{} announced a working set member that never claimed an address: NAME {}, {}.",
                             voice_words(all, member.master, member.master_address), member.name.hex(),
                             function_term(member.name));
    fault.evidence.push_back({member.at, "working set member announced"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check member_absent{
    "network.member-absent",
    "A working set master announced a member that never claimed an address (ISO 11783-7).", judge};

}  // namespace tramlog::checks
