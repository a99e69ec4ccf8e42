#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check address_contest;

namespace {

std::string fate_words(const Contest& contest, const Conclusions& all) {
  switch (contest.record.fate) {
    case LoserFate::moved:
      return fmt::format("{} took address {} instead", controller_words(all, contest.loser),
                         address_words(*contest.record.moved_to));
    case LoserFate::cannot_claim:
      return fmt::format("{} could not claim an address", controller_words(all, contest.loser));
    case LoserFate::insists:
      return fmt::format("{} did not give way", controller_words(all, contest.loser));
    case LoserFate::unknown:
      break;
  }
  return fmt::format("what became of {} was not heard", controller_words(all, contest.loser));
}

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (const Contest& contest : seen.contests) {
    const AddressContest& record = contest.record;
    Fault fault;
    fault.code = address_contest.code;
    // A loser that found another address works on; the machine may still look for it at the old one.
    fault.severity = record.fate == LoserFate::moved ? Severity::warning : Severity::fault;
    fault.start = record.start;
    fault.end = record.last;
    fault.controllers = {contest.winner, contest.loser};
    fault.bus = record.bus;
    fault.text =
        fmt::format("Two controllers claimed address {}: {} kept it, {}.", address_words(record.address),
                    controller_words(all, contest.winner), fate_words(contest, all));
    fault.evidence.push_back({{record.start, record.first_frame}, "first contending claim"});
    if (record.last_frame != record.first_frame)
      fault.evidence.push_back(
          {{record.last, record.last_frame},
           fmt::format("last word of the contest, {}", counted(record.rounds, "claim", "claims"))});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check address_contest{
    "network.address-contest",
    "Two NAMEs claimed one address; the lower NAME keeps it (ISO 11783-5; contested for 250 ms).", judge};

}  // namespace tramlog::checks
