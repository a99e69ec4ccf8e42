#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check bus_silent;

namespace {

void judge(const Conclusions& all, const Observations&, std::vector<Fault>& faults) {
  for (const BusSilence& silence : all.silences) {
    const bool unknown = silence.verdict == BusSilence::Verdict::unknown;
    if (!unknown && silence.verdict != BusSilence::Verdict::silent) continue;
    Fault fault;
    fault.code = bus_silent.code;
    fault.severity = unknown ? Severity::warning : Severity::fault;
    fault.start = silence.start.time;
    if (silence.end) fault.end = silence.end->time;
    fault.bus = silence.bus;
    fault.text = fmt::format(
        "Nothing was heard on {} for {}{}: {}; {}.", all.buses[silence.bus].name,
        format_span(silence.judged_until - silence.start.time),
        silence.end ? "" : ", until the capture's end",
        unknown ? "whether the bus or the recorder stopped is unknown" : "the whole bus was silent",
        silence.why);
    fault.evidence.push_back({silence.start, "last frame before"});
    if (silence.end) fault.evidence.push_back({*silence.end, "first frame after"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check bus_silent{"bus.silent",
                       "Nothing was heard on a bus for more than 5 periods of its fastest rhythm, at least 1 "
                       "s, while the recorder could hear or nobody can tell.",
                       judge};

}  // namespace tramlog::checks
