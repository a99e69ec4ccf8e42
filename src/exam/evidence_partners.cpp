// What others say of them, whose job it was, and whether the recorder could hear.
#include <fmt/format.h>

#include <algorithm>

#include "exam/cause_tools.hpp"
#include "exam/evidence.hpp"

namespace tramlog {
namespace {

Weighing partners_complain(const Scene& s) {
  if (s.incident.complaints.empty()) return no();
  const DtcRecord& dtc = s.all.dtcs[s.incident.complaints.front()];
  return yes(fmt::format("{} reported that it missed it (SPN {}, FMI {}) at {}.",
                         voice_words(s.all, dtc.controller, dtc.address), dtc.dtc.spn, dtc.dtc.fmi,
                         mark_words(dtc.first_active)));
}

Weighing function_is(const Scene& s, unsigned function, const char* words) {
  if (s.incident.kind == IncidentKind::partner) {
    const bool its = std::any_of(s.incident.faults.begin(), s.incident.faults.end(), [&](std::size_t f) {
      return s.all.faults[f].code.rfind(function == 130 ? "task-controller." : "terminal.", 0) == 0;
    });
    return its ? yes(s.all.faults[s.incident.faults.front()].text) : no();
  }
  if (s.incident.kind == IncidentKind::missing) {
    if (s.incident.entries.size() != 1) return no();
    const RollcallEntry& entry = s.all.rollcall->entries[s.incident.entries.front()];
    const bool its = entry.function == function && (function < 128 || entry.device_class.value_or(0) == 0);
    return its ? yes(words) : no();
  }
  if (s.incident.controllers.empty()) return cannot_be_told();
  if (!s.one()) return no();
  const Name name = s.all.controllers[s.incident.controllers.front()].name;
  return name.function() == function && (function < 128 || name.device_class() == 0) ? yes(words) : no();
}

// NAME function 130 of device class 0, and 29 (fact sheet 2.2).
Weighing is_task_controller(const Scene& s) {
  return function_is(s, 130, "It is the task controller: its clients close down when they miss it.");
}
Weighing is_terminal(const Scene& s) {
  return function_is(s, 29, "It is the terminal: its working sets lose their pages.");
}

Weighing is_only_follower(const Scene& s) {
  for (const std::size_t f : s.incident.consequences)
    if (s.all.faults[f].code == "client.timed-out" || s.all.faults[f].code == "task-controller.lost" ||
        s.all.faults[f].code == "terminal.lost")
      return yes(s.all.faults[f].text);
  return no();
}

Weighing hearing_unknown(const Scene& s) {
  for (const std::size_t i : s.incident.silences)
    if (s.all.silences[i].verdict == BusSilence::Verdict::unknown)
      return yes(fmt::format("Of the first silence: {}.", s.all.silences[i].why));
  return no();
}

Weighing hearing_proved(const Scene& s) {
  for (const std::size_t i : s.incident.silences)
    if (s.all.silences[i].verdict == BusSilence::Verdict::silent)
      return yes(fmt::format("Of the first silence: {}.", s.all.silences[i].why));
  return no();
}

Weighing recorder_blind_near(const Scene& s) {
  constexpr SpanNs kNear = 2 * kSecond;
  if (!s.incident.bus) return cannot_be_told();
  for (const BlindSpan& span : s.all.buses[*s.incident.bus].blind)
    for (const IncidentTime& time : s.incident.times)
      if (span.start <= time.until + kNear && span.end >= time.start.time - kNear)
        return yes(fmt::format("The recorder was blind for {} close to it: {}.",
                               format_span(span.end - span.start), span.reason));
  return no();
}

Weighing other_bus_went_on(const Scene& s) {
  if (!s.incident.bus || s.all.buses.size() < 2 || s.incident.times.empty()) return cannot_be_told();
  const IncidentTime& time = s.incident.times.front();
  for (const ControllerRecord& c : s.all.controllers)
    if (c.bus != *s.incident.bus && c.first_seen.time < time.start.time && c.last_seen.time > time.until)
      return yes(fmt::format("{} went on meanwhile.", s.all.buses[c.bus].name));
  return no();
}

constexpr EvidenceKind kAll[] = {
    {"partners-complain", partners_complain},
    {"is-task-controller", is_task_controller},
    {"is-terminal", is_terminal},
    {"clients-closed-down", is_only_follower},
    {"hearing-unknown", hearing_unknown},
    {"hearing-proved", hearing_proved},
    {"recorder-blind-near", recorder_blind_near},
    {"other-bus-went-on", other_bus_went_on},
};

}  // namespace

std::span<const EvidenceKind> evidence_of_partners() {
  return kAll;
}

}  // namespace tramlog
