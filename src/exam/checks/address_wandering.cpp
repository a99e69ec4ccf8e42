#include <fmt/format.h>

#include <algorithm>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check address_wandering;

namespace {

// A loser moves, a commanded unit obeys, within this.
constexpr SpanNs kSoon = 5 * kSecond;

bool explained(const Conclusions& all, const Observations& seen, std::size_t controller,
               const AddressInterval& to) {
  for (const Contest& contest : seen.contests)
    if (contest.loser == controller && to.start >= contest.record.start - kSoon &&
        to.start <= contest.record.last + kSoon)
      return true;
  for (const CommandedAddress& command : seen.commands)
    if (command.target == all.controllers[controller].name && command.address == to.address &&
        to.start >= command.time && to.start <= command.time + kSoon)
      return true;
  return false;
}

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (std::size_t c = 0; c < all.controllers.size(); ++c) {
    const bool doubled = std::any_of(seen.duplicates.begin(), seen.duplicates.end(),
                                     [&](const auto& duplicate) { return duplicate.second == c; });
    if (doubled) continue;
    const auto& held = all.controllers[c].addresses;
    std::vector<const AddressInterval*> moves;
    for (std::size_t i = 1; i < held.size(); ++i)
      if (held[i].address != held[i - 1].address && !explained(all, seen, c, held[i]))
        moves.push_back(&held[i]);
    if (moves.empty() || static_cast<double>(moves.size()) < (*seen.limits)["network.address_changes"])
      continue;
    std::string addresses;
    constexpr std::size_t kNamed = 8;
    for (std::size_t i = 0; i < held.size() && i < kNamed; ++i)
      addresses += (i > 0 ? ", " : "") + std::to_string(held[i].address);
    if (held.size() > kNamed) addresses += ", ..";
    Fault fault;
    fault.code = address_wandering.code;
    fault.severity = Severity::warning;
    fault.start = moves.front()->start;
    fault.end = moves.back()->start;
    fault.controllers = {c};
    fault.bus = all.controllers[c].bus;
    fault.text = fmt::format(
        "{} took another address {} times, and nobody had contested or commanded it: {}. It does not keep "
        "its address over "
        "power-down; partners that remember it by the address lose it.",
        controller_words(all, c), moves.size(), addresses);
    for (std::size_t i = 0; i < moves.size() && i < kNamed; ++i)
      fault.evidence.push_back(
          {{moves[i]->start, moves[i]->start_frame}, "claimed address " + address_words(moves[i]->address)});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check address_wandering{
    "network.address-wandering",
    "A controller claims another address again and again, without a contest or a command: it should "
    "start with the one it had last (ISO 11783-5; fact sheet 3.2).",
    judge};

}  // namespace tramlog::checks
