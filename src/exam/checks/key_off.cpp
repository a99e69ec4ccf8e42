#include <fmt/format.h>

#include <algorithm>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check key_off;

namespace {

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (std::size_t b = 0; b < seen.buses.size(); ++b) {
    const auto& changes = seen.buses[b].key_changes;
    // The first word is where the key stands; after that each one is a turn of it.
    for (std::size_t i = 1; i < changes.size(); ++i) {
      if (changes[i].on) continue;
      const KeySwitch* on = i + 1 < changes.size() ? &changes[i + 1] : nullptr;
      Fault fault;
      fault.code = key_off.code;
      fault.severity = Severity::note;
      fault.start = changes[i].time;
      if (on) fault.end = on->time;
      fault.bus = static_cast<BusIndex>(b);
      fault.text = fmt::format(
          "The key was switched off{}.",
          on ? fmt::format(" and on again after {}", format_span(on->time - changes[i].time))
             : fmt::format(
                   "; the last frame on {} came {} later", all.buses[b].name,
                   format_span(std::max<SpanNs>(seen.buses[b].last_frame.time - changes[i].time, 0))));
      fault.evidence.push_back({{changes[i].time, changes[i].frame}, "key off"});
      if (on) fault.evidence.push_back({{on->time, on->frame}, "key on"});
      faults.push_back(std::move(fault));
    }
  }
}

}  // namespace

const Check key_off{"machine.key-off",
                    "The operator turned the key off (key switch in PGN 65096): what falls silent after it "
                    "was switched off (fact sheet 6.1).",
                    judge};

}  // namespace tramlog::checks
