// Errors on the wires and load.
#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "can/error_frame.hpp"
#include "exam/cause_tools.hpp"
#include "exam/evidence.hpp"

namespace tramlog {
namespace {

using namespace error_frame;

// The interface's own state (error-active again) is no error on the wire.
bool on_wire(const ErrorBurst& burst) {
  return (burst.classes & (kProtocol | kTransceiver | kNoAcknowledgement | kBusOff | kBusError)) != 0 ||
         (burst.controller_bits & 0x3C) != 0;
}

const std::vector<ErrorBurst>& bursts_of(const Scene& s) {
  static const std::vector<ErrorBurst> kNone;
  return s.incident.bus && *s.incident.bus < s.seen.buses.size() ? s.seen.buses[*s.incident.bus].bursts
                                                                 : kNone;
}

// Of an incident of errors only its own: those that came with a silence belong to that one.
std::vector<ErrorBurst> own_bursts(const Scene& s) {
  if (s.incident.kind != IncidentKind::errors) return bursts_of(s);
  std::set<TimeNs> starts;
  bool any = false;
  for (const std::size_t f : s.incident.faults) {
    any = any || s.all.faults[f].code == "bus.error-frames";
    if (s.all.faults[f].code == "bus.error-frames") starts.insert(s.all.faults[f].start);
  }
  std::vector<ErrorBurst> own;
  for (const ErrorBurst& burst : bursts_of(s))
    if (!any || starts.count(burst.first.time) > 0) own.push_back(burst);
  return own;
}

Weighing errors_at_the_moment(const Scene& s) {
  if (s.incident.times.empty()) return cannot_be_told();
  std::uint64_t frames = 0;
  std::optional<Mark> first;
  std::size_t times = 0, told = 0;
  const std::vector<ErrorBurst>& bursts = bursts_of(s);  // by time, and so are the incident's
  for (const IncidentTime& time : s.incident.times) {
    bool with = false;
    const auto begin = std::partition_point(bursts.begin(), bursts.end(), [&](const ErrorBurst& burst) {
      return burst.last.time < time.start.time - kErrorsAtOnce;
    });
    for (auto burst = begin; burst != bursts.end(); ++burst) {
      if (burst->first.time > time.start.time + time.spread + kErrorsAtOnce) break;
      if (!on_wire(*burst)) continue;
      with = true;
      if (!first) first = burst->first;
      // One burst may cover several times.
      const auto number = static_cast<std::size_t>(burst - bursts.begin()) + 1;
      if (number <= told) continue;
      told = number;
      frames += burst->frames;
    }
    times += with;
  }
  if (!first) return no();
  return to_degree(static_cast<double>(times) / static_cast<double>(s.incident.times.size()),
                   fmt::format("{} with it at {}.", counted(frames, "error frame came", "error frames came"),
                               mark_words(*first)));
}

Weighing no_errors(const Scene& s) {
  const Weighing with = errors_at_the_moment(s);
  if (!with.degree) return cannot_be_told();
  if (*with.degree > 0) return no();
  // Their absence proves little where the recorder never told any.
  const bool tells =
      s.incident.bus && *s.incident.bus < s.all.buses.size() && s.all.buses[*s.incident.bus].error_frames > 0;
  return to_degree(tells ? 1 : 0.5, tells ? "No error frame came with it, although the recorder tells them."
                                          : "No error frame came with it.");
}

// The end of an open trunk has no terminator: what is sent is reflected there as long as it is open. (A
// breakaway connector closes its own terminator when it is pulled, ISO 11783-2.)
struct WhileAway {
  SpanNs watched = 0, with_errors = 0;
  std::uint64_t frames = 0;
  std::size_t bursts = 0;
};

WhileAway while_away(const Scene& s) {
  constexpr SpanNs kOpening = kSecond / 2;  // what the opening itself disturbs
  constexpr SpanNs kClosing = kSecond / 2,
                   kBooting = 3 * kSecond;  // contacts close up to a boot time before the return
  WhileAway away;
  std::set<TimeNs> told;  // several times may lie in each other
  for (const IncidentTime& time : s.incident.times) {
    bool claimed = false;
    for (const std::size_t d : s.incident.dropouts)
      claimed = claimed || (s.all.dropouts[d].reclaimed && s.all.dropouts[d].start.time >= time.start.time);
    const TimeNs from = time.start.time + time.spread + kOpening;
    const TimeNs to = !time.returned ? time.until : time.until - (claimed ? kBooting : kClosing);
    if (to <= from) continue;
    away.watched += to - from;
    for (const ErrorBurst& burst : bursts_of(s)) {
      if (!on_wire(burst) || burst.last.time <= from || burst.first.time >= to ||
          !told.insert(burst.first.time).second)
        continue;
      away.with_errors += std::min(burst.last.time, to) - std::max(burst.first.time, from);
      away.frames += burst.frames;
      ++away.bursts;
    }
  }
  return away;
}

Weighing errors_while_away(const Scene& s) {
  if (s.incident.times.empty() || s.incident.kind != IncidentKind::silence) return cannot_be_told();
  const WhileAway away = while_away(s);
  if (away.watched < kSecond) return cannot_be_told();
  // One short burst is a coincidence.
  if (away.bursts == 0) return no();
  return to_degree(away.bursts < 2 && away.with_errors < kSecond ? 0.4 : 1,
                   fmt::format("{} in {} went on coming while they were away.",
                               counted(away.frames, "error frame", "error frames"),
                               counted(away.bursts, "burst", "bursts")));
}

Weighing quiet_while_away(const Scene& s) {
  const Weighing errors = errors_while_away(s);
  if (!errors.degree) return cannot_be_told();
  if (*errors.degree > 0) return no();
  const bool tells = s.incident.bus && s.all.buses[*s.incident.bus].error_frames > 0;
  if (!tells) return cannot_be_told();  // many recorders tell no error at all
  return yes("The bus was free of errors while they were away: its ends are still terminated.");
}

// Bursts over the capture's tenths.
double spread_over_time(const Scene& s) {
  if (s.all.end <= s.all.start) return 0;
  const std::vector<ErrorBurst> own = own_bursts(s);
  unsigned filled = 0;
  for (int tenth = 0; tenth < 10; ++tenth) {
    const TimeNs from = s.all.start + (s.all.end - s.all.start) / 10 * tenth;
    const TimeNs to = from + (s.all.end - s.all.start) / 10;
    filled += std::any_of(own.begin(), own.end(), [&](const ErrorBurst& b) {
      return on_wire(b) && b.first.time <= to && b.last.time >= from;
    });
  }
  return filled / 10.0;
}

Weighing errors_all_the_time(const Scene& s) {
  const double spread = spread_over_time(s);
  if (spread == 0) return no();
  std::uint64_t frames = 0;
  const std::vector<ErrorBurst> own = own_bursts(s);
  for (const ErrorBurst& burst : own) frames += burst.frames;
  return to_degree((spread - 0.2) / 0.5, fmt::format("{} in {} lie spread over the whole time.",
                                                     counted(frames, "error frame", "error frames"),
                                                     counted(own.size(), "burst", "bursts")));
}

Weighing error_kinds(const Scene& s) {
  constexpr std::uint8_t kStuff = 0x04, kForm = 0x02, kBits = 0x19;
  std::uint8_t bits = 0;
  for (const ErrorBurst& burst : own_bursts(s))
    bits = static_cast<std::uint8_t>(bits | ((burst.classes & kProtocol) ? burst.protocol_bits : 0));
  std::vector<std::string> kinds;
  if (bits & kStuff) kinds.push_back("stuff");
  if (bits & kForm) kinds.push_back("form");
  if (bits & kBits) kinds.push_back("bit");
  if (kinds.size() < 2) return no();
  return yes(fmt::format("There are {} errors: no one sender's, but the line's.",
                         kinds.size() == 2 ? kinds[0] + " and " + kinds[1] : "stuff, form and bit"));
}

Weighing by_fault(const Scene& s, std::initializer_list<const char*> codes) {
  for (const auto* list : {&s.incident.faults, &s.incident.consequences})
    for (const std::size_t f : *list)
      for (const char* code : codes)
        if (s.all.faults[f].code == code) return yes(s.all.faults[f].text);
  return no();
}

Weighing errors_with_load(const Scene& s) {
  return by_fault(s, {"bus.errors-with-load"});
}
Weighing only_errors(const Scene& s) {
  return by_fault(s, {"recorder.only-errors", "bus.bit-rate-suspect"});
}
Weighing one_talker(const Scene& s) {
  return by_fault(s, {"bus.one-talker-floods"});
}
Weighing late_messages(const Scene& s) {
  return by_fault(s, {"message.jitter-grown", "transfer.failed", "transfer.series", "message.pace"});
}

Weighing nobody_gone(const Scene& s) {
  return s.all.dropouts.empty() ? yes("No controller fell silent.") : no();
}

// A flood of errors with hardly a valid frame.
Weighing more_errors_than_frames(const Scene& s) {
  if (!s.incident.bus) return cannot_be_told();
  const BusSummary& bus = s.all.buses[*s.incident.bus];
  if (bus.error_frames == 0) return no();
  return to_degree(
      static_cast<double>(bus.error_frames) / static_cast<double>(bus.frames + 1),
      fmt::format("{} against {} in all.", counted(bus.error_frames, "error frame", "error frames"),
                  counted(bus.frames, "valid frame", "valid frames")));
}

Weighing load_high(const Scene& s) {
  if (!s.incident.bus) return cannot_be_told();
  if (const Weighing told = by_fault(s, {"bus.load-high"}); told.degree.value_or(0) > 0) return told;
  const BusSummary& bus = s.all.buses[*s.incident.bus];
  // 70 % on average is where low priorities come late, 90 % leaves them nothing (fact sheet 10, bus
  // overload).
  return to_degree((bus.load_mean_pct - 50) / 20,
                   fmt::format("{} was loaded {:.1f} % on average, {:.1f} % in its fullest second.", bus.name,
                               bus.load_mean_pct, bus.load_peak_pct));
}

constexpr EvidenceKind kAll[] = {
    {"errors-at-the-moment", errors_at_the_moment},
    {"no-errors", no_errors},
    {"errors-while-away", errors_while_away},
    {"quiet-while-away", quiet_while_away},
    {"errors-all-the-time", errors_all_the_time},
    {"errors-of-several-kinds", error_kinds},
    {"errors-with-load", errors_with_load},
    {"only-errors", only_errors},
    {"more-errors-than-frames", more_errors_than_frames},
    {"nobody-gone", nobody_gone},
    {"load-high", load_high},
    {"one-talker", one_talker},
    {"late-messages", late_messages},
};

}  // namespace

std::span<const EvidenceKind> evidence_of_wires() {
  return kAll;
}

}  // namespace tramlog
