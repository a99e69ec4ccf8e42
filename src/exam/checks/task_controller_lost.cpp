#include <algorithm>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check task_controller_lost;

namespace {
void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  Observations rest = {};
  rest.limits = seen.limits;
  rest.buses = seen.buses;
  rest.servers = seen.servers;
  // A status that stops while the task controller lives is a line of its client's check-list, if it has a
  // client.
  for (ServerRecord& server : rest.servers) {
    const bool listed =
        std::any_of(all.seeding.implements.begin(), all.seeding.implements.end(), [&](const auto& implement) {
          return implement.bus == server.bus &&
                 std::any_of(implement.lines.begin(), implement.lines.end(), [](const CheckLine& line) {
                   return line.code == "task-controller.lost" && line.verdict == Verdict::attention;
                 });
        });
    if (listed) std::erase_if(server.losses, [](const ServerLoss& loss) { return !loss.whole; });
  }
  tell_lost_servers(all, rest, ServerKind::task_controller, task_controller_lost.code, faults);
}
}  // namespace

const Check task_controller_lost{"task-controller.lost",
                                 "A task controller or its status (every 2 s) was missing for over 6 s: its "
                                 "clients close their connections "
                                 "(ISO 11783-10; fact sheet 6.5).",
                                 judge};

}  // namespace tramlog::checks
