#include <fmt/format.h>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check one_talker_floods;

namespace {

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (const Flood& flood : seen.floods) {
    Fault fault;
    fault.code = one_talker_floods.code;
    fault.severity = Severity::fault;
    fault.start = flood.start;
    fault.end = flood.end;
    add_once(fault.controllers, flood.controller);
    fault.bus = flood.bus;
    fault.text = fmt::format(
        "{} flooded {} with PGN {}: {:.0f} a second{}, {:.0f} % of what the bus can carry, for {}{}.",
        voice_words(all, flood.controller, flood.source), all.buses[flood.bus].name, pgn_words(flood.pgn),
        flood.per_s,
        flood.usual_per_s > 0 ? fmt::format(" instead of {:.1f}", flood.usual_per_s) : std::string(),
        flood.share_pct, format_span(flood.end - flood.start),
        flood.goes_on ? ", until the capture's end" : "");
    fault.evidence.push_back({{flood.start, 0}, "the flood begins"});
    fault.evidence.push_back({flood.last, "last frame of it"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check one_talker_floods{"bus.one-talker-floods",
                              "One message came five times faster than before, or than its nominal period, "
                              "for 3 s and more, and took a fifth "
                              "of the bus or more for itself (fact sheet 10).",
                              judge};

}  // namespace tramlog::checks
