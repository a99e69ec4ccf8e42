#include <fmt/format.h>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check client_timed_out;

namespace {

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (const MessageStop& stop : seen.stops) {
    if (stop.near_blindness || winding_down(seen, stop.last.time)) continue;
    const ServerRecord* server = server_left_by(seen, stop);
    if (server == nullptr) continue;
    Fault fault;
    fault.code = client_timed_out.code;
    fault.severity = Severity::warning;
    fault.start = stop.last.time;
    if (stop.resumed) fault.end = stop.resumed->time;
    add_once(fault.controllers, stop.controller);
    add_once(fault.controllers, server->controller);
    fault.bus = stop.bus;
    const TimeNs until = stop.resumed ? stop.resumed->time : all.end;
    fault.text = fmt::format(
        "{} stopped speaking to {} (every {} before) for {}{} but went on talking to others; after {} its "
        "connection counts as closed.",
        voice_words(all, stop.controller, stop.source), voice_words(all, server->controller, server->address),
        format_span(stop.period), format_span(until - stop.last.time),
        stop.resumed ? "" : ", until the capture's end",
        format_span(patience_of(server->kind, *seen.limits)));
    fault.evidence.push_back({stop.last, "last message to it"});
    if (stop.resumed) fault.evidence.push_back({*stop.resumed, "first again"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check client_timed_out{
    "client.timed-out",
    "A client stopped the messages that keep up its connection to a virtual terminal (3 s) or file server (6 "
    "s), while both "
    "lived on (fact sheet 6.4, 6.5). Clients of task controllers: device.client-lost.",
    judge};

}  // namespace tramlog::checks
