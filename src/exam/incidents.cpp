#include "exam/incidents.hpp"

#include <algorithm>
#include <cstdlib>
#include <map>
#include <set>

#include "exam/cause_tools.hpp"
#include "exam/incident_folding.hpp"

namespace tramlog {
namespace {

constexpr SpanNs kTogether = 2 * kSecond;         // restarts without a gap, this close, are one moment
constexpr SpanNs kVoltageWindow = 120 * kSecond;  // a sinking voltage takes controllers away one by one
constexpr double kSameController = 0.5;           // share of two groups that makes them the same again

struct Gathering {
  const Conclusions& all;
  const Observations& seen;
  std::vector<Incident> incidents = {};
  std::vector<bool> taken = std::vector<bool>(all.faults.size(), false);
  std::vector<bool> starved = std::vector<bool>(all.dropouts.size(), false);  // silences of a full bus

  Incident& add(IncidentKind kind, TimeNs start) {
    incidents.emplace_back().kind = kind;
    incidents.back().start = start;
    return incidents.back();
  }
  void take(Incident& incident, std::size_t fault) {
    taken[fault] = true;
    incident.faults.push_back(fault);
  }
  /// One time more, of a fault alone.
  static void moment(Incident& incident, const Fault& fault) {
    const std::uint64_t frame = fault.evidence.empty() ? 0 : fault.evidence.front().at.frame;
    incident.times.push_back({{fault.start, frame}, fault.end.value_or(fault.start), 0, true});
  }
};

bool counts(const Fault& fault) {
  return fault.severity != Severity::note;
}

void join(std::vector<std::size_t>& list, const std::vector<std::size_t>& more) {
  list.insert(list.end(), more.begin(), more.end());
  std::sort(list.begin(), list.end());
  list.erase(std::unique(list.begin(), list.end()), list.end());
}

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
    manner.at_start = engine_start_near(g.seen, first.start.time).has_value();
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
          incident.times.front().start.time > time + kVoltageWindow)
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

void gather_addresses(Gathering& g) {
  const auto refused = faults_with(g.all, "network.cannot-claim");
  for (const std::size_t f : faults_with(g.all, "network.address-contest")) {
    const Fault& fault = g.all.faults[f];
    Incident& incident = g.add(IncidentKind::address, fault.start);
    incident.controllers = fault.controllers;  // winner, loser
    incident.bus = fault.bus;
    g.take(incident, f);
    for (const std::size_t r : refused)
      if (!g.taken[r] && !fault.controllers.empty() && !g.all.faults[r].controllers.empty() &&
          g.all.faults[r].controllers.front() == fault.controllers.back())
        g.take(incident, r);
  }
  for (const std::size_t r : refused) {
    if (g.taken[r]) continue;
    Incident& incident = g.add(IncidentKind::address, g.all.faults[r].start);
    incident.controllers = g.all.faults[r].controllers;
    incident.bus = g.all.faults[r].bus;
    g.take(incident, r);
  }
  for (const std::size_t f : faults_with(g.all, "network.duplicate-name")) {
    Incident& incident = g.add(IncidentKind::equal_units, g.all.faults[f].start);
    incident.controllers = g.all.faults[f].controllers;
    incident.bus = g.all.faults[f].bus;
    g.take(incident, f);
  }
}

void gather_by_roster(Gathering& g) {
  const auto absent = faults_with(g.all, "network.member-absent");
  if (g.all.rollcall && !g.all.nothing_read()) {
    const auto& entries = g.all.rollcall->entries;
    std::map<std::string, std::pair<std::vector<std::size_t>, unsigned>> supplies;  // missing, heard
    for (std::size_t e = 0; e < entries.size(); ++e) {
      if (entries[e].supply.empty()) continue;
      if (entries[e].state == EntryState::missing && entries[e].required)
        supplies[entries[e].supply].first.push_back(e);
      supplies[entries[e].supply].second += entries[e].controller.has_value();
    }
    std::optional<std::size_t> deaf_at;  // that errors on the whole bus explain it
    for (std::size_t i = 0; i < g.incidents.size(); ++i)
      if (g.incidents[i].kind == IncidentKind::errors) deaf_at = i;
    std::set<std::string> dead;
    for (const auto& [supply, members] : supplies) {
      if (deaf_at) break;
      if (members.first.size() < 2 || members.second > 0) continue;
      Incident& incident = g.add(IncidentKind::missing, g.all.start);
      incident.entries = members.first;
      incident.supply = supply;
      dead.insert(supply);
    }
    std::size_t missing = 0;
    for (std::size_t e = 0; e < entries.size(); ++e) {
      // Where another unit does its job, it was replaced.
      if (entries[e].state == EntryState::missing && entries[e].required && !entries[e].stand_in &&
          dead.count(entries[e].supply) == 0) {
        if (deaf_at) {
          g.incidents[*deaf_at].entries.push_back(e);
          continue;
        }
        g.add(IncidentKind::missing, g.all.start).entries = {e};
        ++missing;
      }
      if (entries[e].state == EntryState::wrong_software && entries[e].controller) {
        const auto& reported = g.all.controllers[*entries[e].controller].software_reported;
        Incident& incident = g.add(IncidentKind::software, reported ? reported->time : g.all.start);
        incident.entries = {e};
        incident.controllers = {*entries[e].controller};
      }
    }
    // One member short and one entry missing: that is the same one.
    if (missing == 1 && dead.empty() && absent.size() == 1)
      for (Incident& incident : g.incidents)
        if (incident.kind == IncidentKind::missing) g.take(incident, absent.front());
  }
  for (Incident& incident : g.incidents)
    if (incident.kind == IncidentKind::errors)
      for (const std::size_t f : absent) {
        if (!g.taken[f]) incident.consequences.push_back(f);
        g.taken[f] = true;
      }
  const bool some_missing = std::any_of(g.incidents.begin(), g.incidents.end(),
                                        [](const Incident& i) { return i.kind == IncidentKind::missing; });
  for (const std::size_t f : absent) {
    if (g.taken[f] || !counts(g.all.faults[f])) continue;
    if (some_missing) {  // cannot be told which of the missing ones it is
      for (Incident& incident : g.incidents)
        if (incident.kind == IncidentKind::missing && !g.taken[f])
          g.taken[f] = true, incident.consequences.push_back(f);
      continue;
    }
    Incident& incident = g.add(IncidentKind::missing, g.all.faults[f].start);
    incident.controllers = g.all.faults[f].controllers;
    g.take(incident, f);
  }
}

// A recording that begins while they talk does not know them by NAME.
void gather_beginning(Gathering& g) {
  // With a wrong bit rate the claims were lost, too.
  if (!faults_with(g.all, "bus.bit-rate-suspect").empty()) return;
  std::vector<std::size_t> nameless;
  for (const std::size_t f : faults_with(g.all, "network.unclaimed"))
    if (g.all.faults[f].severity == Severity::note) nameless.push_back(f);
  // One or two among many known ones are strangers.
  if (nameless.size() < 2 || nameless.size() < g.all.controllers.size()) return;
  auto home = std::find_if(g.incidents.begin(), g.incidents.end(),
                           [](const Incident& i) { return i.kind == IncidentKind::capture; });
  Incident& incident = home == g.incidents.end() ? g.add(IncidentKind::capture, g.all.start) : *home;
  for (const std::size_t f : nameless) g.take(incident, f);
}

// Faults of one of these codes, on one bus, are one incident.
void gather_by_codes(Gathering& g, IncidentKind kind, std::initializer_list<const char*> codes,
                     bool one_a_controller) {
  std::map<std::pair<int, std::vector<std::size_t>>, std::size_t> homes;
  for (std::size_t f = 0; f < g.all.faults.size(); ++f) {
    const Fault& fault = g.all.faults[f];
    if (g.taken[f] || !counts(fault)) continue;
    if (std::none_of(codes.begin(), codes.end(), [&](const char* code) { return fault.code == code; }))
      continue;
    const auto key = std::pair(fault.bus ? *fault.bus : -1,
                               one_a_controller ? fault.controllers : std::vector<std::size_t>());
    const auto [home, is_new] = homes.emplace(key, g.incidents.size());
    if (is_new) {
      const auto before = std::find_if(g.incidents.begin(), g.incidents.end(), [&](const Incident& i) {
        return !one_a_controller && i.kind == kind && i.bus == fault.bus;
      });
      home->second = static_cast<std::size_t>(before - g.incidents.begin());
      if (before == g.incidents.end()) g.add(kind, fault.start).bus = fault.bus;
    }
    Incident& incident = g.incidents[home->second];
    join(incident.controllers, fault.controllers);
    incident.parties = static_cast<unsigned>(incident.controllers.size());
    Gathering::moment(incident, fault);
    g.take(incident, f);
  }
}

// A full bus keeps low priorities waiting until they look gone. Who starts anew afterwards was gone indeed.
void gather_load(Gathering& g) {
  constexpr SpanNs kBefore = 3 * kSecond;  // last heard up to a slow period before the full second began
  constexpr SpanNs kLastWord = 2 * kSecond, kAfter = 6 * kSecond;  // slow ones come late even then
  gather_by_codes(g, IncidentKind::load, {"bus.load", "bus.load-high", "bus.one-talker-floods"}, false);
  for (Incident& incident : g.incidents) {
    std::vector<std::size_t> culprits;
    for (const std::size_t f : incident.faults)
      if (g.all.faults[f].code == "bus.one-talker-floods") join(culprits, g.all.faults[f].controllers);
    if (!culprits.empty()) incident.controllers = culprits;
    for (std::size_t d = 0; d < g.all.dropouts.size(); ++d) {
      const Dropout& dropout = g.all.dropouts[d];
      if (dropout.kind != DropoutKind::controller || dropout.bus != incident.bus || dropout.reclaimed)
        continue;
      const bool within = std::any_of(incident.faults.begin(), incident.faults.end(), [&](std::size_t f) {
        const Fault& full = g.all.faults[f];
        const TimeNs end = full.end.value_or(g.all.end);
        return dropout.start.time >= full.start - kBefore && dropout.start.time <= end + kLastWord &&
               dropout.judged_until <= end + kAfter;
      });
      if (!within) continue;
      g.starved[d] = true;
      join(incident.dropouts, {d});
    }
  }
}

}  // namespace

const char* kind_name(IncidentKind kind) {
  constexpr const char* kNames[kIncidentKinds] = {
      "silence",  "restarts", "bus-silence", "errors", "address",  "equal-units", "missing",
      "software", "load",     "partner",     "source", "recorder", "capture",     "alone"};
  return kNames[static_cast<std::size_t>(kind)];
}

std::optional<Mark> engine_start_near(const Observations& seen, TimeNs time) {
  for (const BusObservations& bus : seen.buses)
    for (const Mark& start : bus.engine_starts)
      if (std::abs(start.time - time) <= kCrankingWindow) return start;
  return std::nullopt;
}

std::optional<Mark> key_near(const Observations& seen, TimeNs time, bool on) {
  for (const BusObservations& bus : seen.buses)
    for (const KeySwitch& key : bus.key_changes)
      if (key.on == on && std::abs(key.time - time) <= kCrankingWindow) return Mark{key.time, key.frame};
  return std::nullopt;
}

bool tells_low_voltage(const DtcRecord& dtc) {
  const bool battery = dtc.dtc.spn == 168 || dtc.dtc.spn == 158;
  return battery && !dtc.previously_active_only &&
         (dtc.dtc.fmi == 1 || dtc.dtc.fmi == 4 || dtc.dtc.fmi == 17 || dtc.dtc.fmi == 18);
}

std::vector<Incident> gather_incidents(const Conclusions& all, const Observations& seen) {
  Gathering g{all, seen};
  gather_load(g);
  gather_silences(g);
  gather_restarts(g);
  join_by_low_voltage(g);
  gather_bus_silences(g);
  while (join_quiet_and_silence(g)) {
  }
  gather_addresses(g);
  // With a wrong bit rate nothing could be heard: who is missing then says no more.
  gather_by_codes(g, IncidentKind::errors, {"bus.bit-rate-suspect", "recorder.only-errors"}, false);
  gather_by_roster(g);
  // Before the rest, or an error frame of a cut would be an incident of its own.
  gather_by_codes(g, IncidentKind::recorder, {"recorder.blind"}, false);
  gather_by_codes(g, IncidentKind::capture, {"capture.damaged"}, false);
  gather_beginning(g);
  fold_consequences(all, seen, g.incidents, g.taken);
  gather_by_codes(g, IncidentKind::errors,
                  {"bus.error-frames", "bus.errors-with-load", "bus.off", "bus.error-passive"}, false);
  gather_by_codes(g, IncidentKind::partner, {"task-controller.never-there", "task-controller.lost"}, true);
  gather_by_codes(g, IncidentKind::partner, {"terminal.lost"}, true);
  gather_by_codes(g, IncidentKind::partner, {"file-server.lost"}, true);
  gather_by_codes(g, IncidentKind::source, {"speed.source-lost", "speed.frozen"}, true);
  gather_by_codes(g, IncidentKind::source, {"position.source-lost", "position.lost", "position.frozen"},
                  true);
  gather_by_codes(g, IncidentKind::software, {"software.differs-among-equals", "device.version-mismatch"},
                  true);
  fold_consequences(all, seen, g.incidents, g.taken);
  gather_by_codes(g, IncidentKind::alone,
                  {"controller.silent-after-claim", "client.timed-out", "network.address-wandering"}, true);
  for (Incident& incident : g.incidents)
    if (incident.bus)
      for (std::size_t b = 0; b < seen.buses[*incident.bus].bursts.size(); ++b)
        if (at_its_moments(incident, seen.buses[*incident.bus].bursts[b])) incident.bursts.push_back(b);
  std::stable_sort(g.incidents.begin(), g.incidents.end(),
                   [](const Incident& a, const Incident& b) { return a.start < b.start; });
  return std::move(g.incidents);
}

}  // namespace tramlog
