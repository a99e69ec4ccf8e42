#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check stranger_frames;

namespace {

void judge(const Conclusions& all, const Observations&, std::vector<Fault>& faults) {
  for (std::size_t b = 0; b < all.buses.size(); ++b) {
    const BusSummary& bus = all.buses[b];
    if (bus.eleven_bit + bus.remote + bus.fd == 0) continue;
    Fault fault;
    fault.code = stranger_frames.code;
    fault.severity = Severity::note;
    fault.start = all.start;
    fault.end = all.end;
    fault.bus = static_cast<BusIndex>(b);
    fault.text = fmt::format("{} carried frames that are not ISO 11783: {} with 11-bit identifier, {}, {}.",
                             bus.name, bus.eleven_bit, counted(bus.remote, "remote frame", "remote frames"),
                             counted(bus.fd, "CAN FD frame", "CAN FD frames"));
    faults.push_back(std::move(fault));
  }
  if (all.foreign > 0) {
    Fault fault;
    fault.code = stranger_frames.code;
    fault.severity = Severity::note;
    fault.start = all.start;
    fault.end = all.end;
    fault.text =
        fmt::format("The capture holds {} that are no CAN frames of link type 227; they were skipped.",
                    counted(all.foreign, "packet", "packets"));
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check stranger_frames{"bus.not-iso11783",
                            "Frames that are no ISO 11783 traffic: 11-bit identifiers, remote frames, CAN "
                            "FD, or packets of another kind. Counted, not decoded.",
                            judge};

}  // namespace tramlog::checks
