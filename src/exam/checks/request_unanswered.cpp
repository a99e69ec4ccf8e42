#include <fmt/format.h>

#include <algorithm>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check request_unanswered;

namespace {

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (const RequestRecord& request : seen.requests) {
    if (request.unanswered == 0 || request.unanswered < (*seen.limits)["request.series"]) continue;
    const unsigned refused = request.refused[0] + request.refused[1] + request.refused[2];
    const unsigned answered = request.asked - request.unanswered - refused;
    Fault fault;
    fault.code = request_unanswered.code;
    // Old units keep quiet where they should refuse; who answered before knows the group.
    fault.severity = answered > 0 ? Severity::warning : Severity::note;
    fault.start = request.first.time;
    fault.end = request.last.time;
    add_once(fault.controllers, request.controller);
    fault.bus = request.bus;
    fault.text = fmt::format(
        "{} did not answer {} of {} for PGN {} within {}, the last time from address {}; it went on talking.",
        voice_words(all, request.controller, request.address), request.unanswered,
        counted(request.asked, "request", "requests"), pgn_words(request.pgn),
        format_span(span_of(seen, "request.answer_s")), address_words(request.asker));
    fault.evidence.push_back({request.first, "first of these requests"});
    fault.evidence.push_back({request.last, "last of them"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check request_unanswered{"request.unanswered",
                               "A controller that was alive left three and more requests for one parameter "
                               "group without any answer: it must "
                               "answer or refuse (ISO 11783-3; 1.25 s, fact sheet 4.1).",
                               judge};

}  // namespace tramlog::checks
