#include <fmt/format.h>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check message_stopped;

namespace {

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (const MessageStop& stop : seen.stops) {
    if (stop.near_blindness) continue;
    if (winding_down(seen, stop.last.time)) continue;
    // Told by the checks of servers and clients, with what it means.
    if (is_server_loss(seen, stop) || server_left_by(seen, stop) != nullptr) continue;
    Fault fault;
    fault.code = message_stopped.code;
    fault.severity = stop.cyclic ? Severity::warning : Severity::note;
    fault.start = stop.last.time;
    if (stop.resumed) fault.end = stop.resumed->time;
    if (stop.controller) fault.controllers = {*stop.controller};
    fault.bus = stop.bus;
    fault.text = fmt::format(
        "{} stopped sending PGN {} (every {} before) but went on talking{}.",
        voice_words(all, stop.controller, stop.source), pgn_words(stop.pgn), format_span(stop.period),
        stop.resumed
            ? fmt::format("; it came again after {}", format_span(stop.resumed->time - stop.last.time))
            : "");
    fault.evidence.push_back({stop.last, "last of them"});
    if (stop.resumed) fault.evidence.push_back({*stop.resumed, "first again"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check message_stopped{
    "controller.message-stopped",
    "A cyclic message ended while its sender went on talking: later than 5 learned periods, at least 1 s.",
    judge};

}  // namespace tramlog::checks
