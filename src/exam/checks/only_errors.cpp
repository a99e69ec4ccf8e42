#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check only_errors;

namespace {

// Somebody tries all the time: a handful of error frames at power-up is no bit rate.
constexpr std::uint64_t kFewest = 10;

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (std::size_t b = 0; b < all.buses.size(); ++b) {
    const BusSummary& bus = all.buses[b];
    if (bus.frames > 0 || bus.error_frames < kFewest || seen.buses[b].bursts.empty()) continue;
    const auto& bursts = seen.buses[b].bursts;
    Fault fault;
    fault.code = only_errors.code;
    fault.severity = Severity::fault;
    fault.start = bursts.front().first.time;
    fault.end = bursts.back().last.time;
    fault.bus = static_cast<BusIndex>(b);
    fault.text = fmt::format(
        "Only error frames on {}, {} of them, and not one valid frame: the recorder's bit rate ({} bit/s{}) is most likely not "
        "that of the bus, or its CAN wires are swapped or open.",
        bus.name, bus.error_frames, bus.bitrate, bus.bitrate_told ? "" : ", taken for granted");
    fault.evidence.push_back({bursts.front().first, "first error frame"});
    fault.evidence.push_back({bursts.back().last, "last error frame"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check only_errors{"recorder.only-errors",
                        "Nothing but error frames reached the recorder (fact sheet 10: wrong bit rate or listen-only setting of the "
                        "recorder). Not a fault of the machine.",
                        judge};

}  // namespace tramlog::checks
