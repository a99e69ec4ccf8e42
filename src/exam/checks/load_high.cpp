#include <fmt/format.h>

#include <algorithm>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check load_high;

namespace {

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  const SeedingLimits& limits = *seen.limits;
  for (std::size_t b = 0; b < seen.buses.size(); ++b) {
    const BusObservations& bus = seen.buses[b];
    const SpanNs longest = bus.rate.high_until - bus.rate.high_from;
    if (longest <= 0 || longest < span_of(seen, "bus.load_high_for_s") || bus.rate.high_bits == 0) continue;
    const auto share = [&](std::uint64_t bits) {
      return 100.0 * static_cast<double>(bits) / static_cast<double>(bus.rate.high_bits);
    };
    std::uint64_t transfers = 0;
    for (const LoadTalker& talker : bus.talkers) transfers += talker.transfer ? talker.bits : 0;
    Fault fault;
    fault.code = load_high.code;
    // An object pool on its way fills the bus, and that is all right.
    const bool pool = share(transfers) > 50;
    fault.severity = pool ? Severity::note : Severity::warning;
    fault.start = bus.rate.high_from;
    fault.end = bus.rate.high_until;
    fault.bus = static_cast<BusIndex>(b);
    std::string talkers;
    const auto named =
        std::min<std::size_t>(bus.talkers.size(), static_cast<std::size_t>(limits["bus.load_talkers"]));
    for (std::size_t i = 0; i < named; ++i) {
      const LoadTalker& talker = bus.talkers[i];
      talkers += fmt::format("{}{}, PGN {}, about {:.0f} %", i > 0 ? "; " : "",
                             voice_words(all, talker.controller, talker.source), pgn_words(talker.pgn),
                             share(talker.bits));
      add_once(fault.controllers, talker.controller);
    }
    fault.text = fmt::format(
        "{} was loaded {:.0f} % and more for {} in a row, {} in all{}. Who sent most then: {}.",
        all.buses[b].name, limits["bus.load_high_pct"], format_span(longest),
        format_span(bus.rate.high_total), pool ? ", most of it transfers of long messages" : "", talkers);
    fault.evidence.push_back({{bus.rate.high_from, 0}, "the longest such time begins"});
    const bool goes_on = bus.rate.high_until + kSecond >= all.end;
    if (goes_on) fault.end.reset();
    fault.evidence.push_back(
        {{bus.rate.high_until, 0}, goes_on ? "it goes on at the capture's end" : "it ends"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check load_high{"bus.load-high",
                      "A bus was loaded 80 % and more for 10 s in a row, with those who sent most: low "
                      "priorities come late (fact sheet 9.2). A "
                      "note where transfers of long messages filled it.",
                      judge};

}  // namespace tramlog::checks
