#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check terminal_lost;

namespace {
void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  tell_lost_servers(all, seen, ServerKind::terminal, terminal_lost.code, faults);
}
}  // namespace

const Check terminal_lost{"terminal.lost",
                          "A virtual terminal's status (every second) was missing for over 3 s: its working "
                          "sets take it for gone and start anew "
                          "(ISO 11783-6; fact sheet 6.4).",
                          judge};

}  // namespace tramlog::checks
