#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause address_conflict;

namespace {

void tell(const Scene& scene, Finding& finding) {
  const Conclusions& all = scene.all;
  const Fault& fault = all.faults[scene.incident.faults.front()];
  finding.why.push_back(fault.text);
  if (fault.code == "network.address-contest" && fault.controllers.size() >= 2) {
    const std::size_t winner = fault.controllers.front();
    const std::size_t loser = fault.controllers.back();
    finding.text = fmt::format("{} and {} want one address; {} lost it.", controller_words(all, winner),
                               controller_words(all, loser), controller_words(all, loser));
    finding.why.push_back(fmt::format("The lower NAME wins: {} against {}.",
                                      all.controllers[winner].name.hex(), all.controllers[loser].name.hex()));
    finding.next_steps = {"Set the address or the instance of one of the two, by its manual.",
                          "Is one of them left over from another machine, or fitted twice?"};
    return;
  }
  const std::size_t one = fault.controllers.empty() ? 0 : fault.controllers.front();
  const bool refused = fault.code == "network.cannot-claim" && !fault.controllers.empty();
  finding.text = refused ? fmt::format("No address is left for {}.", controller_words(all, one))
                         : fmt::format("Addresses are not settled: {}", fault.text);
  if (refused)
    finding.why.push_back(all.controllers[one].name.self_configurable_address()
                              ? "Its NAME says that it can choose an address itself."
                              : "Its NAME says that it cannot choose another address itself.");
  finding.next_steps = {
      "Which controller holds the address that it wants? Set the address of one of the two.",
      "Replace units that cannot choose an address themselves, or change their instance."};
}

}  // namespace

const Cause address_conflict{"network.address-conflict", bit_of(IncidentKind::address), tell};

}  // namespace tramlog::causes
