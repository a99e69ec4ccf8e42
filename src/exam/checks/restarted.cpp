#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check restarted;

namespace {

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (const Restart& restart : seen.restarts) {
    bool doubled = false;
    for (const std::size_t controller : seen.double_claims)
      doubled = doubled || controller == restart.controller;
    if (doubled) continue;
    Fault fault;
    fault.code = restarted.code;
    fault.severity = Severity::warning;
    fault.start = fault.end.emplace(restart.last.time);
    fault.controllers = {restart.controller};
    fault.bus = all.controllers[restart.controller].bus;
    fault.text =
        fmt::format("{} started again: {} without a request.", controller_words(all, restart.controller),
                    counted(restart.times, "address claim", "address claims"));
    fault.evidence.push_back({restart.last, "address claim without a request before it"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check restarted{
    "controller.restarted",
    "A controller claimed its address again although nobody had asked: it started anew (ISO 11783-5).",
    judge};

}  // namespace tramlog::checks
