#include <fmt/format.h>

#include <algorithm>

#include "exam/check_tools.hpp"
#include "isobus/acknowledgement.hpp"

namespace tramlog::checks {

extern const Check request_refused;

namespace {

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (const RequestRecord& request : seen.requests) {
    const unsigned refused = request.refused[0] + request.refused[1] + request.refused[2];
    if (refused == 0 || refused < (*seen.limits)["request.series"]) continue;
    std::string how;
    for (unsigned i = 0; i < 3; ++i)
      if (request.refused[i] > 0)
        how += fmt::format("{}{} \"{}\" (control byte {})", how.empty() ? "" : ", ", request.refused[i],
                           acknowledgement_text(static_cast<std::uint8_t>(i + 1)), i + 1);
    Fault fault;
    fault.code = request_refused.code;
    // Not supported is an honest answer to somebody who asks again all the same; busy or locked for ever is
    // not.
    fault.severity = request.refused[1] + request.refused[2] > 0 ? Severity::warning : Severity::note;
    fault.start = request.first.time;
    fault.end = request.last.time;
    add_once(fault.controllers, request.controller);
    fault.bus = request.bus;
    fault.text = fmt::format("{} refused {} of {} for PGN {}, the last time from address {}: {}.",
                             voice_words(all, request.controller, request.address), refused,
                             counted(request.asked, "request", "requests"), pgn_words(request.pgn),
                             address_words(request.asker), how);
    fault.evidence.push_back({request.first, "first request that was refused or not answered"});
    fault.evidence.push_back({request.last, "last of them"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check request_refused{"request.refused",
                            "A controller refused three and more requests for one parameter group: not "
                            "supported (1), access denied (2) or "
                            "busy (3) (ISO 11783-3; fact sheet 4.2).",
                            judge};

}  // namespace tramlog::checks
