#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check message_pace;

namespace {

// Fact sheet, network and diagnostics, 6.8: late after 2 periods, lost after 5. A tenth more, because a pace
// of exactly twice the period is what a receiver still takes, and gaps are measured with a few percent of
// doubt.
constexpr double kSlow = 2.2;
constexpr double kFarTooSlow = 5;
// Faster than nominal is no fault: position receivers and engines do so by design (fact sheet, signals, 2 and
// 3).

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (const MessagePace& pace : seen.paces) {
    const double ratio = static_cast<double>(pace.period) / static_cast<double>(pace.nominal);
    if (ratio <= kSlow) continue;
    Fault fault;
    fault.code = message_pace.code;
    fault.severity = ratio > kFarTooSlow ? Severity::warning : Severity::note;
    fault.start = pace.first;
    fault.end = pace.last.time;
    if (pace.controller) fault.controllers = {*pace.controller};
    fault.bus = pace.bus;
    fault.text = fmt::format(
        "{} sends {}, PGN {}, every {}; its nominal period is {}: receivers may take it for late or lost.",
        voice_words(all, pace.controller, pace.source), pace.message, pgn_words(pace.pgn),
        format_span(pace.period), format_span(pace.nominal));
    fault.evidence.push_back(
        {pace.last, fmt::format("last of {} in {}", pace.count, format_span(pace.last.time - pace.first))});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check message_pace{"message.pace",
                         "The usual gap of a cyclic message is over 2.2 times its period in the schema (a "
                         "warning over 5 times), or under a "
                         "quarter of it.",
                         judge};

}  // namespace tramlog::checks
