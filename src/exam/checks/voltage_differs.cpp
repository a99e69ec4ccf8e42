#include <fmt/format.h>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check voltage_differs;

namespace {

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (const SupplyRecord& supply : seen.supplies) {
    if (supply.differs_v <= 0 || supply.differs_for < span_of(seen, "supply.differs_for_s")) continue;
    Fault fault;
    fault.code = voltage_differs.code;
    fault.severity = Severity::warning;
    fault.start = supply.differs_from.time;
    fault.end = supply.differs_until.time;
    add_once(fault.controllers, supply.controller);
    fault.bus = supply.bus;
    fault.text = fmt::format(
        "{} told up to {:.1f} V less supply voltage than {} at the same time, for {}: look at its own supply "
        "and ground.",
        voice_words(all, supply.controller, supply.address), supply.differs_v,
        supply.other ? controller_words(all, *supply.other) : std::string("another one"),
        format_span(supply.differs_for));
    fault.evidence.push_back({supply.differs_from, "the difference begins"});
    fault.evidence.push_back({supply.differs_until, "the difference last told"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check voltage_differs{"supply.voltage-differs",
                            "A controller tells 1 V less supply voltage than another one (SPN 168 in PGN "
                            "65271; 2 V in 24 V systems), for 10 s and more.",
                            judge};

}  // namespace tramlog::checks
