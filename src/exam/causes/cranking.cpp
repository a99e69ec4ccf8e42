#include <fmt/format.h>

#include <algorithm>

#include "exam/cause.hpp"
#include "exam/cause_tools.hpp"

namespace tramlog::causes {

extern const Cause cranking;

namespace {

// The starter pulls the supply down: several controllers start again in the same seconds (fact sheet 10).
constexpr SpanNs kCrankingWindow = 10 * kSecond;
constexpr SpanNs kTogether = 2 * kSecond;

// What else speaks of a start of the engine or a low supply close to `time`; empty if nothing does.
std::string sign_near(TimeNs time, const Conclusions& all, const Observations& seen) {
  const auto close = [&](TimeNs other) { return std::abs(other - time) <= kCrankingWindow; };
  for (const BusObservations& bus : seen.buses) {
    for (const Mark& start : bus.engine_starts)
      if (close(start.time)) return fmt::format("the engine began to turn at {}", mark_words(start));
    for (const KeySwitch& key : bus.key_changes)
      if (key.on && close(key.time))
        return fmt::format("the key was switched on at {}", mark_words({key.time, key.frame}));
  }
  for (const DtcRecord& dtc : all.dtcs)
    if (dtc.dtc.spn == 168 && (dtc.dtc.fmi == 4 || dtc.dtc.fmi == 18) && close(dtc.first_active.time))
      return fmt::format("a low battery voltage was reported at {}", mark_words(dtc.first_active));
  return {};
}

Finding finding_for(const std::vector<std::size_t>& controllers, const Mark& at, const std::string& sign,
                    const Conclusions& all) {
  Finding finding;
  finding.cause = cranking.code;
  finding.start = at.time;
  finding.text =
      fmt::format("The supply sagged while the engine was started: {} started again together at {}.",
                  controllers_words(all, controllers), mark_words(at));
  finding.why = {fmt::format("In the same seconds {}.", sign)};
  finding.next_steps = {"Battery and its ground cables.",
                        "Voltage at the breakaway connector (ECU_PWR against ECU_GND) while cranking.",
                        "If it happens only at start-up: wait for the roll call before work begins."};
  return finding;
}

void propose_dropouts(const Conclusions& all, const Observations& seen, std::vector<Finding>& findings) {
  for (const DropoutEvent& event : dropout_events(all, DropoutKind::controller)) {
    if (event.controllers.size() < 2 || !event.all_reclaimed) continue;
    const std::string sign = sign_near(event.start.time, all, seen);
    if (sign.empty()) continue;
    Finding finding = finding_for(event.controllers, event.start, sign, all);
    finding.confidence = Confidence::likely;
    finding.weight = 95;
    finding.dropouts = event.dropouts;
    finding.why.push_back(
        fmt::format("{}, each with a new address claim.", silence_lengths(all, event.dropouts)));
    findings.push_back(std::move(finding));
  }
}

// Too short a sag to leave a gap in the traffic still leaves the claims.
void propose_restarts(const Conclusions& all, const Observations& seen, std::vector<Finding>& findings) {
  const auto faults = faults_with(all, "controller.restarted");
  std::vector<std::size_t> together;
  std::vector<std::size_t> controllers;
  for (const std::size_t f : faults) {
    if (!together.empty() && all.faults[f].start - all.faults[together.front()].start > kTogether) break;
    together.push_back(f);
    controllers.push_back(all.faults[f].controllers.front());
  }
  if (together.size() < 2) return;
  const Fault& first = all.faults[together.front()];
  const std::string sign = sign_near(first.start, all, seen);
  if (sign.empty()) return;
  Finding finding = finding_for(controllers, first.evidence.front().at, sign, all);
  finding.confidence = Confidence::possible;
  finding.weight = 95;
  finding.faults = together;
  finding.why.push_back(fmt::format("{} came within {} without a request.",
                                    counted(together.size(), "address claim", "address claims"),
                                    format_span(all.faults[together.back()].start - first.start)));
  findings.push_back(std::move(finding));
}

void propose(const Conclusions& all, const Observations& seen, std::vector<Finding>& findings) {
  propose_dropouts(all, seen, findings);
  propose_restarts(all, seen, findings);
}

}  // namespace

const Cause cranking{"supply.cranking", propose};

}  // namespace tramlog::causes
