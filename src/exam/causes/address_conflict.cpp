#include <fmt/format.h>

#include <algorithm>

#include "exam/cause.hpp"
#include "exam/cause_tools.hpp"

namespace tramlog::causes {

extern const Cause address_conflict;

namespace {

void propose(const Conclusions& all, const Observations&, std::vector<Finding>& findings) {
  const auto conflicts = faults_with(all, "network.address-contest");
  const auto refused = faults_with(all, "network.cannot-claim");
  std::vector<bool> explained(all.controllers.size(), false);
  for (const std::size_t f : conflicts) {
    const Fault& fault = all.faults[f];
    const std::size_t loser = fault.controllers.back();
    Finding finding;
    finding.cause = address_conflict.code;
    finding.confidence = Confidence::certain;
    finding.weight = fault.severity == Severity::fault ? 85 : 40;
    finding.start = fault.start;
    finding.faults = {f};
    for (const std::size_t r : refused)
      if (all.faults[r].controllers.front() == loser) {
        finding.faults.push_back(r);
        explained[loser] = true;
      }
    finding.text = fmt::format("{} and {} want one address; {} lost it.",
                               controller_words(all, fault.controllers.front()), controller_words(all, loser),
                               controller_words(all, loser));
    finding.why = {fault.text, fmt::format("The lower NAME wins: {} against {}.",
                                           all.controllers[fault.controllers.front()].name.hex(),
                                           all.controllers[loser].name.hex())};
    finding.next_steps = {"Set the address or the instance of one of the two, by its manual.",
                          "Is one of them left over from another machine, or fitted twice?"};
    findings.push_back(std::move(finding));
  }
  for (const std::size_t r : refused) {
    const std::size_t who = all.faults[r].controllers.front();
    if (explained[who]) continue;
    Finding finding;
    finding.cause = address_conflict.code;
    finding.confidence = Confidence::likely;
    finding.weight = 85;
    finding.start = all.faults[r].start;
    finding.faults = {r};
    finding.text = fmt::format("No address is left for {}.", controller_words(all, who));
    finding.why = {all.faults[r].text, all.controllers[who].name.self_configurable_address()
                                           ? "Its NAME says that it can choose an address itself."
                                           : "Its NAME says that it cannot choose another address itself."};
    finding.next_steps = {
        "Which controller holds the address that it wants? Set the address of one of the two.",
        "Replace units that cannot choose an address themselves, or change their instance."};
    findings.push_back(std::move(finding));
  }
}

}  // namespace

const Cause address_conflict{"network.address-conflict", propose};

}  // namespace tramlog::causes
