#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check limit_reached;

namespace {

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (const auto& [what, times] : seen.caps) {
    Fault fault;
    fault.code = limit_reached.code;
    fault.severity = Severity::warning;
    fault.start = all.start;
    fault.end = all.end;
    fault.text =
        fmt::format("More {} than can be kept: {} beyond the limit are not in this report.", what, times);
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check limit_reached{"examiner.limit-reached",
                          "There was more of something than the examiner keeps (memory is bounded against "
                          "hostile traffic); the rest was counted only.",
                          judge};

}  // namespace tramlog::checks
