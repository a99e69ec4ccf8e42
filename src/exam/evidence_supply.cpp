// Key, engine, voltage; feeds and sides by the roster (or by the NAMEs).
#include <fmt/format.h>

#include <algorithm>
#include <cstdlib>
#include <set>

#include "exam/cause_tools.hpp"
#include "exam/check_tools.hpp"
#include "exam/evidence.hpp"

namespace tramlog {
namespace {

SpanNs cranking(const Scene& s) {
  return span_of(s.seen, "supply.cranking_s");
}

Weighing engine_started(const Scene& s) {
  std::size_t near = 0;
  const Mark* first = nullptr;
  for (const IncidentTime& time : s.incident.times)
    if (const Mark* start = engine_start_near(s.seen, time.start.time)) {
      ++near;
      if (first == nullptr) first = start;
    }
  if (first == nullptr) return no();
  return to_degree(static_cast<double>(near) / static_cast<double>(s.incident.times.size()),
                   fmt::format("The engine began to turn at {}, in the same seconds.", mark_words(*first)));
}

Weighing key_on(const Scene& s) {
  for (const IncidentTime& time : s.incident.times)
    for (const BusObservations& bus : s.seen.buses)
      for (const KeySwitch& key : bus.key_changes)
        if (key.on && !key.stood && std::abs(key.time - time.start.time) <= cranking(s))
          return yes(fmt::format("The key was switched on at {}.", mark_words({key.time, key.frame})));
  return no();
}

// A low voltage told by anybody; `own`: by the one controller of the incident itself.
const DtcRecord* low_voltage(const Scene& s, bool own) {
  for (const DtcRecord& dtc : s.all.dtcs) {
    if (!tells_low_voltage(dtc)) continue;
    const bool is_own = dtc.controller && s.one() && !s.incident.controllers.empty() &&
                        s.incident.controllers.front() == *dtc.controller;
    if (is_own != own) continue;
    // One that tells its own low voltage does so when it is back, at any time.
    if (own) return &dtc;
    for (const IncidentTime& time : s.incident.times)
      if (std::abs(dtc.first_active.time - time.start.time) <=
          (s.incident.voltage_told ? kVoltageSinks : cranking(s)))
        return &dtc;
  }
  return nullptr;
}

bool low_near(const Scene& s, const IncidentTime& time) {
  return std::any_of(s.seen.supply_spells.begin(), s.seen.supply_spells.end(), [&](const SupplySpell& spell) {
    return spell.start.time <= time.until + cranking(s) && spell.end.time >= time.start.time - cranking(s);
  });
}

Weighing low_voltage_told(const Scene& s) {
  if (const DtcRecord* dtc = low_voltage(s, false))
    return yes(fmt::format("{} reported a low supply voltage (SPN {}, FMI {}) at {}.",
                           voice_words(s.all, dtc->controller, dtc->address), dtc->dtc.spn, dtc->dtc.fmi,
                           mark_words(dtc->first_active)));
  for (const char* code : {"supply.voltage-low", "supply.voltage-sags-at-cranking"})
    for (const std::size_t f : faults_with(s.all, code)) {
      const Fault& fault = s.all.faults[f];
      for (const IncidentTime& time : s.incident.times)
        // One fault tells of all the low times of a day.
        if (low_near(s, time) ||
            (fault.start >= time.start.time - cranking(s) && fault.start <= time.until + cranking(s)))
          return yes(fault.text);
    }
  return no();
}

Weighing supply_code_own(const Scene& s) {
  const DtcRecord* dtc = low_voltage(s, true);
  if (dtc == nullptr) return no();
  return yes(fmt::format("It reported a low supply voltage itself (SPN {}, FMI {}) at {}.", dtc->dtc.spn,
                         dtc->dtc.fmi, mark_words(dtc->first_active)));
}

bool engine_is_told(const Scene& s) {
  return std::any_of(s.seen.buses.begin(), s.seen.buses.end(),
                     [](const BusObservations& bus) { return bus.engine_told.has_value(); });
}

Weighing no_start_sign(const Scene& s) {
  if (!engine_is_told(s)) return cannot_be_told();
  if (engine_started(s).degree.value_or(0) > 0 || key_on(s).degree.value_or(0) > 0 ||
      low_voltage_told(s).degree.value_or(0) > 0)
    return no();
  return yes("No start of the engine, no key and no low voltage came with it.");
}

Weighing start_not_told(const Scene& s) {
  if (engine_is_told(s) || low_voltage_told(s).degree.value_or(0) > 0 || key_on(s).degree.value_or(0) > 0)
    return no();
  return yes("Nobody tells the engine's speed on this bus: whether the starter turned cannot be seen.");
}

// The starter turns for a second or two; boot times come on top.
Weighing brief(const Scene& s) {
  constexpr SpanNs kBrief = 5 * kSecond;
  if (s.incident.times.empty() || s.incident.kind != IncidentKind::silence) return cannot_be_told();
  SpanNs longest = 0;
  for (const IncidentTime& time : s.incident.times) {
    if (!time.returned) return no();
    longest = std::max(longest, time.until - time.start.time);
  }
  return longest <= kBrief ? yes(fmt::format("All were back within {}.", format_span(longest))) : no();
}

struct Feeds {
  double known = 0;  // share of them whose supply the roster tells
  std::set<std::string> supplies;
  std::vector<std::size_t> others;  // on the one supply, and talking on

  bool enough() const { return known >= 0.5 && !supplies.empty(); }
};

Feeds feeds(const Scene& s) {
  Feeds f;
  std::size_t known = 0;
  for (const std::size_t c : s.incident.controllers) {
    const std::string supply = supply_of(s.all, c);
    if (supply.empty()) continue;
    ++known;
    f.supplies.insert(supply);
  }
  if (!s.incident.controllers.empty())
    f.known = static_cast<double>(known) / static_cast<double>(s.incident.controllers.size());
  if (!s.one() && known < 2) f.known = 0;  // one says nothing of what they share
  if (f.enough() && f.supplies.size() == 1)
    for (const std::size_t c : unaffected(s.all, s.incident))
      if (supply_of(s.all, c) == *f.supplies.begin()) f.others.push_back(c);
  return f;
}

Weighing same_supply(const Scene& s) {
  const Feeds f = feeds(s);
  if (!f.enough() || s.one()) return cannot_be_told();
  if (f.supplies.size() != 1) return no();
  return to_degree(f.known,
                   fmt::format("The roster puts {} on the supply \"{}\".",
                               f.known < 1 ? "all whose supply it knows" : "them all", *f.supplies.begin()));
}

Weighing different_supplies(const Scene& s) {
  const Feeds f = feeds(s);
  if (!f.enough() || s.one()) return cannot_be_told();
  if (f.supplies.size() == 1) return no();
  return yes(fmt::format("The roster puts them on {} different supplies.", f.supplies.size()));
}

Weighing others_on_supply_went_on(const Scene& s) {
  const Feeds f = feeds(s);
  if (!f.enough() || f.supplies.size() != 1) return cannot_be_told();
  if (f.others.empty()) return no();
  return yes(fmt::format("On the same supply \"{}\" {} went on.", *f.supplies.begin(),
                         controllers_words(s.all, f.others)));
}

Weighing whole_supply(const Scene& s) {
  const Feeds f = feeds(s);
  if (!f.enough() || f.supplies.size() != 1 || s.one()) return cannot_be_told();
  if (!f.others.empty()) return no();
  return yes(fmt::format("Nobody on the supply \"{}\" was left.", *f.supplies.begin()));
}

struct Sides {
  unsigned implement = 0, tractor = 0;
  std::vector<std::size_t> implement_left, tractor_left;
  bool known = true;
};

Sides sides(const Scene& s) {
  Sides result;
  for (const std::size_t c : s.incident.controllers) {
    const SideGuess side = side_of(s.all, c);
    (side.implement ? result.implement : result.tractor)++;
    result.known = result.known && side.known;
  }
  for (const std::size_t c : unaffected(s.all, s.incident))
    (side_of(s.all, c).implement ? result.implement_left : result.tractor_left).push_back(c);
  return result;
}

Weighing whole_implement(const Scene& s) {
  if (s.incident.controllers.empty()) return cannot_be_told();
  const Sides side = sides(s);
  if (side.implement < 2 || side.tractor > 0 || !side.implement_left.empty()) return no();
  return yes(fmt::format("{} and no other controller of the implement was left{}.",
                         controllers_words(s.all, s.incident.controllers),
                         side.known ? "" : " (by their NAMEs; a roster would say it)"));
}

Weighing part_of_implement(const Scene& s) {
  if (s.incident.controllers.empty()) return cannot_be_told();
  const Sides side = sides(s);
  if (side.implement_left.empty()) return no();
  return yes(fmt::format("Of the implement {} went on.", controllers_words(s.all, side.implement_left)));
}

Weighing tractor_went_on(const Scene& s) {
  if (s.incident.controllers.empty()) return cannot_be_told();
  const Sides side = sides(s);
  if (side.tractor > 0 || side.tractor_left.empty()) return no();
  return yes(fmt::format("The tractor's side went on: {}.", controllers_words(s.all, side.tractor_left)));
}

Weighing tractor_fell_too(const Scene& s) {
  if (s.incident.controllers.empty()) return cannot_be_told();
  const Sides side = sides(s);
  return side.tractor > 0 && !s.one()
             ? yes(fmt::format("{} of them on the tractor's side.", counted(side.tractor, "is", "are")))
             : no();
}

Weighing same_side(const Scene& s) {
  if (s.incident.controllers.size() < 2) return cannot_be_told();
  const Sides side = sides(s);
  if (side.implement > 0 && side.tractor > 0) return no();
  return yes(fmt::format("All of them are on the {}'s side.", side.implement > 0 ? "implement" : "tractor"));
}

Weighing three_or_more(const Scene& s) {
  return s.incident.parties >= 3 ? yes(fmt::format("{} controllers went.", s.incident.parties)) : no();
}

constexpr EvidenceKind kAll[] = {
    {"engine-started", engine_started},
    {"key-on", key_on},
    {"low-voltage-told", low_voltage_told},
    {"supply-code-own", supply_code_own},
    {"no-start-sign", no_start_sign},
    {"start-not-told", start_not_told},
    {"brief", brief},
    {"same-supply", same_supply},
    {"different-supplies", different_supplies},
    {"whole-supply", whole_supply},
    {"others-on-supply-went-on", others_on_supply_went_on},
    {"whole-implement", whole_implement},
    {"part-of-implement", part_of_implement},
    {"tractor-went-on", tractor_went_on},
    {"tractor-fell-too", tractor_fell_too},
    {"same-side", same_side},
    {"three-or-more", three_or_more},
};

}  // namespace

std::span<const EvidenceKind> evidence_of_supply() {
  return kAll;
}

}  // namespace tramlog
