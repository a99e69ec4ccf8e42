#include <fmt/format.h>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check bit_rate_suspect;

namespace {

// The flood lasts: errors until the end but for this share of the time.
constexpr double kRest = 0.2;

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  const SeedingLimits& limits = *seen.limits;
  for (std::size_t b = 0; b < all.buses.size(); ++b) {
    const BusSummary& bus = all.buses[b];
    const auto& bursts = seen.buses[b].bursts;
    // Not one valid frame: that is the recorder's own (recorder.only-errors).
    if (bus.frames == 0 || bursts.empty() ||
        static_cast<double>(bus.error_frames) < limits["bus.bit_rate_errors"] ||
        static_cast<double>(bus.error_frames) <
            limits["bus.bit_rate_share"] * static_cast<double>(bus.frames))
      continue;
    if (bursts.front().first.time - all.start > span_of(seen, "bus.bit_rate_start_s")) continue;
    if (to_seconds(all.end - bursts.back().last.time) > kRest * to_seconds(all.end - all.start)) continue;
    Fault fault;
    fault.code = bit_rate_suspect.code;
    fault.severity = Severity::fault;
    fault.start = bursts.front().first.time;
    fault.end = bursts.back().last.time;
    fault.bus = static_cast<BusIndex>(b);
    fault.text = fmt::format(
        "{} had {} from the beginning on and only {} got through: a unit with another bit rate, or the "
        "recorder's own ({} bit/s{}), is "
        "suspect.",
        bus.name, counted(bus.error_frames, "error frame", "error frames"),
        counted(bus.frames, "frame", "frames"), bus.bitrate, bus.bitrate_told ? "" : ", taken for granted");
    fault.evidence.push_back({bursts.front().first, "first error frame"});
    fault.evidence.push_back({bursts.back().last, "last error frame"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check bit_rate_suspect{"bus.bit-rate-suspect",
                             "A flood of error frames from power-up to the end and hardly a valid frame: as "
                             "many errors as frames, 100 at least "
                             "(fact sheet 10).",
                             judge};

}  // namespace tramlog::checks
