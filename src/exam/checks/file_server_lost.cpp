#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check file_server_lost;

namespace {
void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  tell_lost_servers(all, seen, ServerKind::file_server, file_server_lost.code, faults);
}
}  // namespace

const Check file_server_lost{"file-server.lost",
                             "A file server's status (every 2 s) was missing for over 6 s: its clients take "
                             "it for gone (ISO 11783-13; fact "
                             "sheet 6.5).",
                             judge};

}  // namespace tramlog::checks
