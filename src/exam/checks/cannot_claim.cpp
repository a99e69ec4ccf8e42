#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check cannot_claim;

namespace {

void judge(const Conclusions& all, const Observations&, std::vector<Fault>& faults) {
  for (std::size_t i = 0; i < all.controllers.size(); ++i) {
    const ControllerRecord& controller = all.controllers[i];
    if (controller.state != ControllerState::refused) continue;
    Fault fault;
    fault.code = cannot_claim.code;
    fault.severity = Severity::fault;
    fault.start = controller.last_seen.time;
    fault.controllers = {i};
    fault.bus = controller.bus;
    fault.text =
        fmt::format("{} cannot claim an address and takes no part in the bus.", controller_words(all, i));
    fault.evidence.push_back({controller.last_seen, "cannot claim, from the null address 254"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check cannot_claim{"network.cannot-claim",
                         "A controller said from the null address that it cannot claim one (ISO 11783-5).",
                         judge};

}  // namespace tramlog::checks
