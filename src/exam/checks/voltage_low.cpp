#include <fmt/format.h>

#include <algorithm>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check voltage_low;

namespace {

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  const SpanNs cranking = span_of(seen, "supply.cranking_s");
  const SpanNs lasting = span_of(seen, "supply.low_for_s");
  Fault fault;
  std::string words;
  const auto begin = [&](Mark at, TimeNs until, std::string text, const std::string& told) {
    if (fault.evidence.empty() || at.time < fault.start) fault.start = at.time;
    fault.end = std::max(fault.end.value_or(until), until);
    words += (words.empty() ? "" : "; ") + std::move(text);
    fault.evidence.push_back({at, told});
  };
  for (const SupplySpell& spell : seen.supply_spells) {
    if (spell.end.time - spell.start.time < lasting) continue;
    // The starter's own sag, and nothing after it.
    if (engine_start_near(seen, spell.start.time) && spell.end.time - spell.start.time < 2 * cranking)
      continue;
    add_once(fault.controllers, spell.controller);
    if (!fault.bus) fault.bus = spell.bus;
    begin(
        spell.start, spell.end.time,
        fmt::format("{} measured down to {:.1f} V for {}", voice_words(all, spell.controller, spell.address),
                    spell.least_v, format_span(spell.end.time - spell.start.time)),
        fmt::format("first value below {:.1f} V",
                    (*seen.limits)["supply.low_v"] * (spell.system_24 ? 2 : 1)));
  }
  for (const DtcRecord& dtc : all.dtcs) {
    if (!tells_low_voltage(dtc)) continue;
    if (engine_start_near(seen, dtc.first_active.time)) continue;
    add_once(fault.controllers, dtc.controller);
    if (!fault.bus) fault.bus = dtc.bus;
    begin(dtc.first_active, dtc.last_active.time,
          fmt::format("{} reported SPN 168, FMI {} ({})", voice_words(all, dtc.controller, dtc.address),
                      dtc.dtc.fmi, dtc.fmi_text),
          "trouble code first active");
  }
  if (fault.evidence.empty()) return;
  fault.code = voltage_low.code;
  fault.severity = Severity::warning;
  fault.text = "Supply voltage too low: " + words + ".";
  faults.push_back(std::move(fault));
}

}  // namespace

const Check voltage_low{"supply.voltage-low",
                        "The supply voltage of a controller was under 11.5 V (23 V in 24 V systems) for 5 s, "
                        "or it reported so (SPN 168, FMI 1, 4, 17, "
                        "18); not while cranking.",
                        judge};

}  // namespace tramlog::checks
