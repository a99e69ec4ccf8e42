#include <fmt/format.h>

#include "exam/check.hpp"
#include "exam/damage_words.hpp"

namespace tramlog::checks {

extern const Check clock_step;

namespace {

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (const ClockStepBack& step : seen.clock_steps) {
    Fault fault;
    fault.code = clock_step.code;
    fault.severity = Severity::note;
    fault.start = fault.end.emplace(step.at.time);
    fault.text =
        goes_back_to_a_hole(all, step.at.time)
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
