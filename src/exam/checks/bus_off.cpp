#include <fmt/format.h>

#include "can/error_frame.hpp"
#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check bus_off;

namespace {

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (std::size_t b = 0; b < seen.buses.size(); ++b) {
    const ErrorBurst* first = nullptr;
    const ErrorBurst* last = nullptr;
    unsigned times = 0;
    bool restarted = false;
    for (const ErrorBurst& burst : seen.buses[b].bursts) {
      restarted = restarted || (burst.classes & error_frame::kRestarted) != 0;
      if ((burst.classes & error_frame::kBusOff) == 0) continue;
      ++times;
      if (first == nullptr) first = &burst;
      last = &burst;
    }
    if (first == nullptr) continue;
    SpanNs deaf = 0;
    for (const BlindSpan& blind : all.buses[b].blind)
      if (blind.reason.find("bus-off") != std::string::npos) deaf += blind.end - blind.start;
    Fault fault;
    fault.code = bus_off.code;
    fault.severity = Severity::warning;
    fault.start = first->first.time;
    fault.end = last->last.time;
    fault.bus = static_cast<BusIndex>(b);
    fault.text = fmt::format(
        "The recorder's interface on {} went bus-off{} and heard nothing for {}{}: everything that it sent "
        "failed. Short circuit, open "
        "bus wire, or another bit rate.",
        all.buses[b].name, times > 1 ? fmt::format(" {} times", times) : "", format_span(deaf),
        restarted ? "; it was started again" : "");
    fault.evidence.push_back({first->first, "bus-off first reported"});
    if (times > 1) fault.evidence.push_back({last->first, "the last time"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check bus_off{"bus.off",
                    "The interface reported bus-off: its send error counter passed 255 (ISO 11898-1; fact "
                    "sheet 9.3). It is deaf until it "
                    "is started again.",
                    judge};

}  // namespace tramlog::checks
