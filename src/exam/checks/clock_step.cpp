#include <fmt/format.h>

#include <algorithm>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check clock_step;

namespace {

constexpr SpanNs kMeets = 2 * kSecond;

// A clock is put back to any time; blocks in the wrong order go back to where some are lacking.
bool fills_a_hole(const Conclusions& all, const ClockStepBack& step) {
  const auto begins_here = [&](TimeNs start, TimeNs end) {
    return magnitude(span_between(start, step.at.time)) <= kMeets && span_between(start, end) > kMeets;
  };
  return std::any_of(all.buses.begin(), all.buses.end(),
                     [&](const BusSummary& bus) {
                       return std::any_of(bus.blind.begin(), bus.blind.end(), [&](const BlindSpan& span) {
                         return begins_here(span.start, span.end);
                       });
                     }) ||
         std::any_of(all.silences.begin(), all.silences.end(), [&](const BusSilence& silence) {
           return silence.end && begins_here(silence.start.time, silence.end->time);
         });
}

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (const ClockStepBack& step : seen.clock_steps) {
    Fault fault;
    fault.code = clock_step.code;
    fault.severity = Severity::note;
    fault.start = fault.end.emplace(step.at.time);
    fault.text =
        fills_a_hole(all, step)
            ? fmt::format(
                  "The time goes back by {}, to where a hole in the recording begins: blocks of the "
                  "file are in the wrong order. tramlog mend sorts them if they fit together.",
                  format_span(step.back))
            : fmt::format("The recorder's clock was put back by {}; times before and after do not compare.",
                          format_span(step.back));
    fault.evidence.push_back({step.at, "first event after the step"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check clock_step{"capture.clock-step",
                       "The recorder's clock was put back; no silence is judged across the step.", judge};

}  // namespace tramlog::checks
