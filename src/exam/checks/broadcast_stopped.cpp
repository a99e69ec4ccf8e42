#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check broadcast_stopped;

namespace {

void judge(const Conclusions&, const Observations& seen, std::vector<Fault>& faults) {
  for (std::size_t b = 0; b < seen.buses.size(); ++b)
    for (const Suspension& stop : seen.buses[b].suspensions) {
      Fault fault;
      fault.code = broadcast_stopped.code;
      fault.severity = Severity::note;
      fault.start = stop.start.time;
      if (stop.end) fault.end = stop.end;
      fault.bus = static_cast<BusIndex>(b);
      fault.text = fmt::format("Address {} asked the controllers to stop their traffic (DM13).",
                               address_words(stop.by));
      fault.evidence.push_back({stop.start, "stop broadcast"});
      faults.push_back(std::move(fault));
    }
}

}  // namespace

const Check broadcast_stopped{
    "network.broadcast-stopped",
    "DM13 asked the controllers to stop their traffic; silence after it is intended (ISO 11783-12, DM13).",
    judge};

}  // namespace tramlog::checks
