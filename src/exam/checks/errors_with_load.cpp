#include <fmt/format.h>

#include <cmath>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check errors_with_load;

namespace {

/// Error frames a second in the emptier and in the fuller half of the seconds, by tenths of load.
std::string rates_words(const BusRate& rate) {
  std::uint64_t looks = 0, errors = 0;
  std::size_t split = 0;
  for (; split < rate.tenths.size(); ++split) {
    looks += rate.tenths[split].looks;
    errors += rate.tenths[split].errors;
    if (looks * 2 >= rate.looks) break;
  }
  std::uint64_t looks_above = rate.looks - looks, errors_above = rate.error_sum - errors;
  if (looks_above == 0) return {};
  return fmt::format(", {:.1f} a second up to {} % load and {:.1f} a second above",
                     static_cast<double>(errors) / static_cast<double>(looks), (split + 1) * 10,
                     static_cast<double>(errors_above) / static_cast<double>(looks_above));
}

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  const SeedingLimits& limits = *seen.limits;
  for (std::size_t b = 0; b < seen.buses.size(); ++b) {
    const BusRate& rate = seen.buses[b].rate;
    if (static_cast<double>(rate.error_sum) < limits["bus.load_errors"] ||
        static_cast<double>(rate.looks_with_errors) < limits["bus.load_error_seconds"] ||
        seen.buses[b].bursts.empty())
      continue;
    const auto n = static_cast<double>(rate.looks);
    const double xx = rate.sum_xx - rate.sum_x * rate.sum_x / n;
    const double yy = rate.sum_yy - rate.sum_y * rate.sum_y / n;
    if (n < 3 || xx <= 0 || yy <= 0) continue;
    const double correlation = (rate.sum_xy - rate.sum_x * rate.sum_y / n) / std::sqrt(xx * yy);
    if (correlation < limits["bus.load_error_correlation"]) continue;
    const double rest = 1 - correlation * correlation;
    if (rest > 0 && correlation * std::sqrt((n - 2) / rest) < limits["bus.load_error_sigma"]) continue;
    Fault fault;
    fault.code = errors_with_load.code;
    fault.severity = Severity::warning;
    fault.start = seen.buses[b].bursts.front().first.time;
    fault.end = seen.buses[b].bursts.back().last.time;
    fault.bus = static_cast<BusIndex>(b);
    fault.text = fmt::format(
        "Error frames on {} come all over and with the load: {} in {} of {} seconds{}; correlation of errors "
        "and load {:.2f}.",
        all.buses[b].name, rate.error_sum, rate.looks_with_errors, rate.looks, rates_words(rate),
        correlation);
    fault.evidence.push_back({seen.buses[b].bursts.front().first, "first error frame"});
    fault.evidence.push_back({seen.buses[b].bursts.back().last, "last error frame"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check errors_with_load{
    "bus.errors-with-load",
    "Error frames spread over the whole time and grow with the load: every sender is hit, which speaks of "
    "the "
    "line itself, its termination first (fact sheet 10). Correlation over seconds, 0.3 at least.",
    judge};

}  // namespace tramlog::checks
