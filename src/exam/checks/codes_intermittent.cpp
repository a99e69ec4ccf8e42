#include <fmt/format.h>

#include <algorithm>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check codes_intermittent;

namespace {

constexpr std::size_t kShown = 6;

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (const DtcRecord& dtc : all.dtcs) {
    if (dtc.activations < 2 || dtc.activations < (*seen.limits)["diagnostics.intermittent"] ||
        dtc.times.empty())
      continue;
    Fault fault;
    fault.code = codes_intermittent.code;
    fault.severity = Severity::warning;
    fault.start = dtc.first_active.time;
    fault.end = dtc.last_active.time;
    add_once(fault.controllers, dtc.controller);
    fault.bus = dtc.bus;
    std::vector<SpanNs> intervals;
    for (std::size_t i = 1; i < dtc.times.size(); ++i)
      intervals.push_back(dtc.times[i].time - dtc.times[i - 1].time);
    std::sort(intervals.begin(), intervals.end());
    fault.text = fmt::format("{}: SPN {}{}, FMI {} ({}) came and went {} times, {} to {} after each other.",
                             voice_words(all, dtc.controller, dtc.address), dtc.dtc.spn,
                             dtc.spn_text ? " (" + *dtc.spn_text + ")" : "", dtc.dtc.fmi, dtc.fmi_text,
                             dtc.activations, format_span(intervals.front()), format_span(intervals.back()));
    for (std::size_t i = 0; i < dtc.times.size() && i < kShown; ++i)
      fault.evidence.push_back({dtc.times[i], "reported active"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check codes_intermittent{
    "diagnostics.intermittent",
    "One trouble code became active three times or more: a loose contact, or a value that lies at its limit.",
    judge};

}  // namespace tramlog::checks
