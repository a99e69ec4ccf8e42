#include <fmt/format.h>

#include <algorithm>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check voltage_sags;

namespace {

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  Fault fault;
  std::string words;
  const Mark* start = nullptr;
  const auto tell = [&](const Mark* engine, Mark at, std::string text, const std::string& told) {
    if (start == nullptr || engine->time < start->time) start = engine;
    if (fault.evidence.empty() || at.time < fault.start) fault.start = at.time;
    fault.end = std::max(fault.end.value_or(at.time), at.time);
    words += (words.empty() ? "" : "; ") + std::move(text);
    fault.evidence.push_back({at, told});
  };
  for (const SupplySpell& spell : seen.supply_spells) {
    if (spell.least_v >= (*seen.limits)["supply.sag_v"] * (spell.system_24 ? 2 : 1)) continue;
    const Mark* engine = engine_start_near(seen, spell.start.time);
    if (engine == nullptr) continue;
    add_once(fault.controllers, spell.controller);
    if (!fault.bus) fault.bus = spell.bus;
    tell(engine, spell.start,
         fmt::format("{} measured down to {:.1f} V", voice_words(all, spell.controller, spell.address),
                     spell.least_v),
         "voltage goes down");
  }
  for (const DtcRecord& dtc : all.dtcs) {
    if (!tells_low_voltage(dtc)) continue;
    const Mark* engine = engine_start_near(seen, dtc.first_active.time);
    if (engine == nullptr) continue;
    add_once(fault.controllers, dtc.controller);
    if (!fault.bus) fault.bus = dtc.bus;
    tell(engine, dtc.first_active,
         fmt::format("{} reported SPN 168, FMI {} ({})", voice_words(all, dtc.controller, dtc.address),
                     dtc.dtc.fmi, dtc.fmi_text),
         "trouble code first active");
  }
  if (start == nullptr) return;
  fault.code = voltage_sags.code;
  fault.severity = Severity::warning;
  fault.text = fmt::format("The supply voltage sagged when the engine was started, {}: {}.",
                           mark_words(*start), words);
  faults.push_back(std::move(fault));
}

}  // namespace

const Check voltage_sags{"supply.voltage-sags-at-cranking",
                         "Within 10 s of an engine's start a controller's supply was under 9.5 V (19 V in 24 "
                         "V systems), or it reported low voltage "
                         "(SPN 168).",
                         judge};

}  // namespace tramlog::checks
