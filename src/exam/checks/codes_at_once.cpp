#include <fmt/format.h>

#include <algorithm>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check codes_at_once;

namespace {

// Whoever starts tells at once what was wrong before.
constexpr SpanNs kStart = 10 * kSecond;
constexpr std::size_t kShown = 6;

bool since_its_start(const Conclusions& all, const DtcRecord& dtc) {
  if (!dtc.controller) return dtc.first_active.time - all.start <= kStart;
  if (dtc.first_active.time - all.controllers[*dtc.controller].first_seen.time <= kStart) return true;
  return std::any_of(all.dropouts.begin(), all.dropouts.end(), [&](const Dropout& dropout) {
    return dropout.controller == dtc.controller && dropout.end &&
           dtc.first_active.time >= dropout.end->time && dtc.first_active.time - dropout.end->time <= kStart;
  });
}

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  const SpanNs within = span_of(seen, "diagnostics.many_within_s");
  std::vector<const DtcRecord*> fresh;  // by time, as all.dtcs
  for (const DtcRecord& dtc : all.dtcs)
    if (!dtc.previously_active_only && !since_its_start(all, dtc)) fresh.push_back(&dtc);
  for (std::size_t i = 0; i < fresh.size();) {
    std::size_t end = i;
    std::vector<std::pair<BusIndex, Address>> voices;
    while (end < fresh.size() && fresh[end]->first_active.time - fresh[i]->first_active.time <= within) {
      const std::pair voice(fresh[end]->bus, fresh[end]->address);
      if (std::find(voices.begin(), voices.end(), voice) == voices.end()) voices.push_back(voice);
      ++end;
    }
    if (voices.size() < 2 ||
        static_cast<double>(voices.size()) < (*seen.limits)["diagnostics.many_controllers"]) {
      ++i;
      continue;
    }
    Fault fault;
    fault.code = codes_at_once.code;
    fault.severity = Severity::warning;
    fault.start = fresh[i]->first_active.time;
    fault.end = fresh[end - 1]->first_active.time;
    fault.bus = fresh[i]->bus;
    bool same = true;
    for (std::size_t k = i; k < end; ++k) {
      const DtcRecord& dtc = *fresh[k];
      same = same && dtc.dtc.spn == fresh[i]->dtc.spn;
      add_once(fault.controllers, dtc.controller);
      if (k - i < kShown)
        fault.evidence.push_back(
            {dtc.first_active, fmt::format("SPN {} FMI {} of {}", dtc.dtc.spn, dtc.dtc.fmi,
                                           voice_words(all, dtc.controller, dtc.address))});
    }
    fault.text = fmt::format("{} controllers reported {} within {}{}: {}. One cause is more likely than {}.",
                             voices.size(), counted(end - i, "new trouble code", "new trouble codes"),
                             format_span(*fault.end - fault.start),
                             same ? fmt::format(", all of them SPN {}{}", fresh[i]->dtc.spn,
                                                fresh[i]->spn_text ? " (" + *fresh[i]->spn_text + ")" : "")
                                  : std::string(),
                             controllers_words(all, fault.controllers), voices.size());
    faults.push_back(std::move(fault));
    i = end;
  }
}

}  // namespace

const Check codes_at_once{"diagnostics.many-at-once",
                          "Three or more controllers reported new trouble codes within 5 s, later than 10 s "
                          "after they had started: look for what they "
                          "share.",
                          judge};

}  // namespace tramlog::checks
