#include <fmt/format.h>

#include <algorithm>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check task_controller_never_there;

namespace {

// Functionalities of clients: TC-BAS, TC-GEO, TC-SC (fact sheet 7.9).
constexpr std::uint8_t kClientFunctionalities[] = {8, 10, 12};
constexpr unsigned kTaskController =
    130;  // NAME function in industry group 2, device class 0 (fact sheet 2.5)

bool is_client(const ControllerRecord& controller) {
  return std::any_of(
      controller.functionalities.begin(), controller.functionalities.end(), [](const Functionality& f) {
        return std::find(std::begin(kClientFunctionalities), std::end(kClientFunctionalities), f.number) !=
               std::end(kClientFunctionalities);
      });
}

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (std::size_t b = 0; b < all.buses.size(); ++b) {
    const bool status =
        std::any_of(seen.servers.begin(), seen.servers.end(), [&](const ServerRecord& server) {
          return server.bus == b && server.kind == ServerKind::task_controller;
        });
    const bool named =
        std::any_of(all.controllers.begin(), all.controllers.end(), [&](const ControllerRecord& c) {
          return c.bus == b && c.name.industry_group() == 2 && c.name.device_class() == 0 &&
                 c.name.function() == kTaskController;
        });
    // A voice without a NAME may be the one that is missed.
    const bool nameless = std::any_of(all.unclaimed.begin(), all.unclaimed.end(),
                                      [&](const UnclaimedRecord& voice) { return voice.bus == b; });
    if (status || named || nameless) continue;
    std::vector<std::size_t> clients;
    TimeNs first = all.end;
    for (std::size_t c = 0; c < all.controllers.size(); ++c) {
      if (all.controllers[c].bus != b || !is_client(all.controllers[c])) continue;
      clients.push_back(c);
      first = std::min(first, all.controllers[c].first_seen.time);
    }
    if (clients.empty() || all.end - first < span_of(seen, "partner.never_there_s")) continue;
    Fault fault;
    fault.code = task_controller_never_there.code;
    fault.severity = Severity::note;
    fault.start = first;
    fault.end = all.end;
    fault.controllers = clients;
    fault.bus = static_cast<BusIndex>(b);
    fault.text = fmt::format(
        "{} can work with a task controller, but in {} there was none on {}: no NAME of that function and no "
        "status message. It "
        "may be switched off or not enabled in the display.",
        controllers_words(all, clients), format_span(all.end - first), all.buses[b].name);
    fault.evidence.push_back({all.controllers[clients.front()].first_seen, "first frame of the client"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check task_controller_never_there{
    "task-controller.never-there",
    "A controller says that it is a task controller's client (functionalities, PGN 64654), and for 60 s "
    "and more no task controller was on its bus.",
    judge};

}  // namespace tramlog::checks
