#include <fmt/format.h>

#include <algorithm>

#include "exam/cause.hpp"
#include "exam/cause_tools.hpp"

namespace tramlog::causes {

extern const Cause cranking;

namespace {

// The starter pulls the supply down: all of the implement restarts in the same seconds.
constexpr SpanNs kCrankingWindow = 10 * kSecond;

void propose(const Conclusions& all, const Observations& seen, std::vector<Finding>& findings) {
  for (const DropoutEvent& event : dropout_events(all, DropoutKind::controller)) {
    if (event.controllers.size() < 2 || !event.all_reclaimed) continue;
    std::string sign;
    for (const BusObservations& bus : seen.buses) {
      for (const Mark& start : bus.engine_starts)
        if (std::abs(start.time - event.start.time) <= kCrankingWindow)
          sign = fmt::format("the engine began to turn at {}", mark_words(start));
      for (const KeySwitch& key : bus.key_changes)
        if (sign.empty() && key.on && std::abs(key.time - event.start.time) <= kCrankingWindow)
          sign = fmt::format("the key was switched on at {}", mark_words({key.time, key.frame}));
    }
    for (const DtcRecord& dtc : all.dtcs)
      if (sign.empty() && dtc.dtc.spn == 168 && (dtc.dtc.fmi == 4 || dtc.dtc.fmi == 18 || dtc.dtc.fmi == 1) &&
          std::abs(dtc.first_active.time - event.start.time) <= kCrankingWindow)
        sign = fmt::format("a low battery voltage was reported at {}", mark_words(dtc.first_active));
    if (sign.empty()) continue;
    Finding finding;
    finding.cause = cranking.code;
    finding.confidence = Confidence::likely;
    finding.weight = 95;
    finding.dropouts = event.dropouts;
    finding.start = event.start.time;
    finding.text = fmt::format("The supply sagged while the engine was started: {} restarted together at {}.",
                               controllers_words(all, event.controllers), mark_words(event.start));
    finding.why = {fmt::format("In the same seconds {}.", sign),
                   fmt::format("{}, each with a new address claim.", silence_lengths(all, event.dropouts))};
    finding.next_steps = {"Battery and its ground cables.",
                          "Voltage at the breakaway connector (ECU_PWR against ECU_GND) while cranking.",
                          "If it happens only at start-up: wait for the roll call before work begins."};
    findings.push_back(std::move(finding));
  }
}

}  // namespace

const Cause cranking{"supply.cranking", propose};

}  // namespace tramlog::causes
