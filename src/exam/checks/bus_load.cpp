#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check bus_load;

namespace {

constexpr double kHighMeanPct = 70;
constexpr double kFullSecondPct = 90;

void judge(const Conclusions& all, const Observations&, std::vector<Fault>& faults) {
  for (std::size_t b = 0; b < all.buses.size(); ++b) {
    const BusSummary& bus = all.buses[b];
    const bool high = bus.load_mean_pct > kHighMeanPct;
    if (!high && bus.load_peak_pct <= kFullSecondPct) continue;
    Fault fault;
    fault.code = bus_load.code;
    // One full second may be an object pool on its way; a high mean is no such thing.
    fault.severity = high ? Severity::warning : Severity::note;
    fault.start = high ? all.start : bus.load_peak_at;
    fault.end = high ? all.end : bus.load_peak_at + kSecond;
    fault.bus = static_cast<BusIndex>(b);
    fault.text = fmt::format("{} was loaded {:.1f} % on average and {:.1f} % in its fullest second{}.",
                             bus.name, bus.load_mean_pct, bus.load_peak_pct,
                             bus.bitrate_told ? "" : " (bit rate not told, 250 kbit/s assumed)");
    fault.evidence.push_back({{bus.load_peak_at, 0}, "the fullest second begins"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check bus_load{"bus.load",
                     "Load of a bus by exact stuffed bits: above 70 % on average low priorities come late, "
                     "above 90 % in a second is suspect.",
                     judge};

}  // namespace tramlog::checks
