#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check clock_step;

namespace {

void judge(const Conclusions&, const Observations& seen, std::vector<Fault>& faults) {
  for (const ClockStepBack& step : seen.clock_steps) {
    Fault fault;
    fault.code = clock_step.code;
    fault.severity = Severity::note;
    fault.start = fault.end.emplace(step.at.time);
    fault.text =
        fmt::format("The recorder's clock was put back by {}; times before and after do not compare.",
                    format_span(step.back));
    fault.evidence.push_back({step.at, "first event after the step"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check clock_step{"capture.clock-step",
                       "The recorder's clock was put back; no silence is judged across the step.", judge};

}  // namespace tramlog::checks
