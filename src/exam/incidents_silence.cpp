// Who fell silent or started again, one by one, together, or with the whole bus.
#include <algorithm>
#include <cstdlib>
#include <map>
#include <set>

#include "exam/cause_tools.hpp"
#include "exam/check_tools.hpp"
#include "exam/gathering.hpp"

namespace tramlog {
namespace {

constexpr SpanNs kTogether = 2 * kSecond;  // restarts without a gap, this close, are one moment
constexpr double kSameController = 0.5;    // share of two groups that makes them the same again

// What one group of dropouts has in common, to know it again.
struct Manner {
  std::set<std::pair<BusIndex, std::size_t>> who;  // controllers; addresses of voices from 2^20 on
  bool returned = false, claimed = false, at_start = false;
  std::size_t incident = 0;  // of this manner
};

bool same_again(const Manner& a, const Manner& b) {
  if (a.who.size() == 1 || b.who.size() == 1) return a.who == b.who;
  if (a.at_start != b.at_start || a.returned != b.returned || a.claimed != b.claimed) return false;
  std::size_t common = 0;
  for (const auto& one : a.who) common += b.who.count(one);
  return static_cast<double>(common) >=
         kSameController * static_cast<double>(a.who.size() + b.who.size() - common);
}

// Somebody with a rhythm, in neither incident, who was there before and afterwards.
bool somebody_stayed(const Gathering& g, const Incident& one, const Incident& other,
                     const IncidentTime& quiet) {
  for (std::size_t c = 0; c < g.all.controllers.size(); ++c) {
    const ControllerRecord& record = g.all.controllers[c];
    const auto in = [&](const Incident& i) {
      return std::binary_search(i.controllers.begin(), i.controllers.end(), c);
    };
    if (record.bus == *one.bus && record.rhythms > 0 && record.first_seen.time < quiet.start.time &&
        record.last_seen.time > quiet.until && !in(one) && !in(other))
      return true;
  }
  return false;
}

}  // namespace

void gather_silences(Gathering& g) {
  std::vector<Manner> manners;
  std::vector<bool> used = g.starved;
  for (std::size_t i = 0; i < g.all.dropouts.size(); ++i) {
    const Dropout& first = g.all.dropouts[i];
    if (used[i] || first.kind != DropoutKind::controller) continue;
    Manner manner;
    IncidentTime time{first.start, first.judged_until, 0, true};
    std::vector<std::size_t> dropouts, controllers;
    std::size_t claimed = 0;
    for (std::size_t j = i; j < g.all.dropouts.size(); ++j) {
      const Dropout& d = g.all.dropouts[j];
      if (used[j] || (j != i && (!first.group || d.group != first.group || d.kind != first.kind))) continue;
      used[j] = true;
      dropouts.push_back(j);
      if (d.controller) controllers.push_back(*d.controller);
      manner.who.emplace(d.bus, d.controller ? *d.controller : (1u << 20) + d.address);
      time.spread = std::max(time.spread, d.start.time - first.start.time);
      time.until = std::max(time.until, d.judged_until);
      time.returned = time.returned && d.end.has_value();
      claimed += d.reclaimed;
    }
    manner.returned = time.returned;
    manner.claimed = 2 * claimed > dropouts.size();
    manner.at_start = engine_start_near(g.seen, first.start.time) != nullptr;
    const auto again =
        std::find_if(manners.begin(), manners.end(), [&](const Manner& m) { return same_again(m, manner); });
    const bool is_new = again == manners.end();
    const std::size_t at = static_cast<std::size_t>(again - manners.begin());
    if (is_new) {
      manner.incident = g.incidents.size();
      g.add(IncidentKind::silence, first.start.time).bus = first.bus;
      manners.push_back(manner);
    } else {
      again->who.insert(manner.who.begin(), manner.who.end());
    }
    const Manner& known = manners[at];
    Incident& incident = g.incidents[known.incident];
    incident.times.push_back(time);
    join(incident.dropouts, dropouts);
    join(incident.controllers, controllers);
    incident.parties = static_cast<unsigned>(known.who.size());
  }
}

void gather_restarts(Gathering& g) {
  std::optional<std::size_t> last;  // the latest incident of this kind
  for (std::size_t f = 0; f < g.all.faults.size(); ++f) {
    const Fault& fault = g.all.faults[f];
    const bool series = fault.code == "controller.restart-series";
    if ((fault.code != "controller.restarted" && !series) || fault.controllers.empty()) continue;
    Incident* home = nullptr;
    for (Incident& incident : g.incidents) {
      if (incident.kind != IncidentKind::silence && incident.kind != IncidentKind::restarts) continue;
      const bool known = incident.controllers == fault.controllers;
      const bool near =
          incident.controllers.size() > 1 &&
          std::any_of(incident.times.begin(), incident.times.end(), [&](const IncidentTime& t) {
            return fault.start >= t.start.time - kTogether && fault.start <= t.until + kTogether;
          });
      if (known || near) home = &incident;
    }
    if (home == nullptr && !series && last && fault.start - g.incidents[*last].start <= kTogether)
      home = &g.incidents[*last];
    if (home == nullptr) {
      home = &g.add(IncidentKind::restarts, fault.start);
      home->bus = fault.bus;
      Gathering::moment(*home, fault);
    }
    if (home->kind == IncidentKind::restarts) {
      last = static_cast<std::size_t>(home - g.incidents.data());
      home->times.front().spread = fault.start - home->start;
    }
    join(home->controllers, fault.controllers);
    home->parties = std::max<unsigned>(home->parties, static_cast<unsigned>(home->controllers.size()));
    g.take(*home, f);
  }
}

// A voltage that sinks below what they need takes controllers away one by one: one incident, if it was told.
void join_by_low_voltage(Gathering& g) {
  std::vector<TimeNs> told;
  for (const DtcRecord& dtc : g.all.dtcs)
    if (tells_low_voltage(dtc) && !engine_start_near(g.seen, dtc.first_active.time))
      told.push_back(dtc.first_active.time);
  for (const std::size_t f : faults_with(g.all, "supply.voltage-low")) told.push_back(g.all.faults[f].start);
  for (const TimeNs time : told) {
    std::vector<std::size_t> members;
    std::set<std::size_t> who;
    for (std::size_t i = 0; i < g.incidents.size(); ++i) {
      const Incident& incident = g.incidents[i];
      if (incident.kind != IncidentKind::silence && incident.kind != IncidentKind::restarts) continue;
      if (incident.times.empty() || incident.times.front().start.time < time - 5 * kSecond ||
          incident.times.front().start.time > time + kVoltageSinks)
        continue;
      const bool claimed =
          incident.dropouts.empty() ||
          std::any_of(incident.dropouts.begin(), incident.dropouts.end(),
                      [&](std::size_t d) { return g.all.dropouts[d].reclaimed || !g.all.dropouts[d].end; });
      if (!claimed) continue;
      members.push_back(i);
      who.insert(incident.controllers.begin(), incident.controllers.end());
    }
    if (who.size() < 2) continue;
    Incident& home = g.incidents[members.front()];
    home.voltage_told = true;
    if (members.size() == 1) continue;
    home.kind = IncidentKind::silence;
    for (auto m = members.rbegin(); m + 1 != members.rend(); ++m) {
      Incident& other = g.incidents[*m];
      Incident& first = g.incidents[members.front()];
      first.times.insert(first.times.end(), other.times.begin(), other.times.end());
      join(first.controllers, other.controllers);
      join(first.dropouts, other.dropouts);
      join(first.faults, other.faults);
      g.incidents.erase(g.incidents.begin() + static_cast<std::ptrdiff_t>(*m));
    }
    Incident& first = g.incidents[members.front()];
    first.parties = static_cast<unsigned>(first.controllers.size());
    std::sort(first.times.begin(), first.times.end(),
              [](const IncidentTime& a, const IncidentTime& b) { return a.start.time < b.start.time; });
    // Each went once: that is one time, in which they went one after the other.
    if (first.times.size() == first.parties) {
      IncidentTime whole = first.times.front();
      for (const IncidentTime& one : first.times) {
        whole.spread = std::max(whole.spread, one.start.time + one.spread - whole.start.time);
        whole.until = std::max(whole.until, one.until);
        whole.returned = whole.returned && one.returned;
      }
      first.times = {whole};
    }
    first.start = first.times.front().start.time;
  }
}

void gather_bus_silences(Gathering& g) {
  std::map<std::pair<BusIndex, bool>, std::size_t> homes;
  for (std::size_t s = 0; s < g.all.silences.size(); ++s) {
    const BusSilence& silence = g.all.silences[s];
    const bool unknown = silence.verdict == BusSilence::Verdict::unknown;
    if (!unknown && silence.verdict != BusSilence::Verdict::silent) continue;
    const auto [home, is_new] = homes.emplace(std::pair(silence.bus, unknown), g.incidents.size());
    if (is_new) g.add(IncidentKind::bus_silence, silence.start.time).bus = silence.bus;
    Incident& incident = g.incidents[home->second];
    incident.silences.push_back(s);
    incident.times.push_back({silence.start, silence.judged_until, 0, silence.end.has_value()});
    for (std::size_t d = 0; d < g.all.dropouts.size(); ++d) {
      const Dropout& dropout = g.all.dropouts[d];
      if (dropout.kind != DropoutKind::bus_silent || dropout.bus != silence.bus) continue;
      if (dropout.judged_until < silence.start.time || dropout.start.time > silence.judged_until) continue;
      join(incident.dropouts, {d});
      if (dropout.controller) join(incident.controllers, {*dropout.controller});
    }
    incident.parties = static_cast<unsigned>(incident.controllers.size());
    for (const std::size_t f : faults_with(g.all, "bus.silent"))
      if (g.all.faults[f].bus == silence.bus && g.all.faults[f].start == silence.start.time)
        g.take(incident, f);
  }
}

// Where the others speak seldom, the loss of some leaves the whole bus quiet for a second or two: who stays
// away longer tells which it was. And where nobody stayed, those with a slow rhythm went with the bus.
bool join_quiet_and_silence(Gathering& g) {
  constexpr SpanNs kWith = 3 * kSecond, kLonger = kSecond;
  for (std::size_t i = 0; i < g.incidents.size(); ++i) {
    if (g.incidents[i].kind != IncidentKind::bus_silence || g.incidents[i].times.size() != 1) continue;
    const IncidentTime quiet = g.incidents[i].times.front();
    std::size_t other = 0;
    const auto goes_with = [&](const Incident& silence) {
      return silence.kind == IncidentKind::silence && silence.bus == g.incidents[i].bus &&
             silence.times.size() == 1 &&
             std::abs(silence.times.front().start.time - quiet.start.time) <= kWith &&
             silence.times.front().until >= quiet.start.time;
    };
    while (other < g.incidents.size() && !goes_with(g.incidents[other])) ++other;
    if (other == g.incidents.size()) continue;
    Incident& bus = g.incidents[i];
    Incident& some = g.incidents[other];
    const bool partly = quiet.returned && some.times.front().until >= quiet.until + kLonger &&
                        somebody_stayed(g, bus, some, quiet);
    if (!partly && some.times.front().returned != quiet.returned) continue;
    Incident& home = partly ? some : bus;
    const Incident& guest = partly ? bus : some;
    for (const std::size_t d : guest.dropouts) {
      if (partly && g.all.dropouts[d].judged_until < quiet.until + kLonger) continue;
      join(home.dropouts, {d});
      if (g.all.dropouts[d].controller) join(home.controllers, {*g.all.dropouts[d].controller});
    }
    home.parties = std::max(home.parties, static_cast<unsigned>(home.controllers.size()));
    home.consequences.insert(home.consequences.end(), guest.faults.begin(), guest.faults.end());
    g.incidents.erase(g.incidents.begin() + static_cast<std::ptrdiff_t>(partly ? i : other));
    return true;
  }
  return false;
}

}  // namespace tramlog
