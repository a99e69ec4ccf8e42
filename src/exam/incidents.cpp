#include "exam/incidents.hpp"

#include <algorithm>
#include <cstdlib>
#include <map>
#include <set>

#include "exam/cause_tools.hpp"
#include "exam/gathering.hpp"
#include "exam/incident_folding.hpp"

namespace tramlog {
namespace {

bool counts(const Fault& fault) {
  return fault.severity != Severity::note;
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

// What was written and cannot be read any more is no matter of the recorder's hearing, nor are the frames that
// its statistics count around such a place.
void gather_damaged_times(Gathering& g) {
  const auto home = std::find_if(g.incidents.begin(), g.incidents.end(),
                                 [](const Incident& i) { return i.kind == IncidentKind::capture; });
  if (home == g.incidents.end()) return;
  for (const std::size_t f : faults_with(g.all, "recorder.blind")) {
    const BlindSpan* span = blind_span(g.all, g.all.faults[f]);
    if (span == nullptr) continue;
    const auto& spans = g.all.buses[*g.all.faults[f].bus].blind;
    if (std::any_of(spans.begin(), spans.end(), [&](const BlindSpan& damaged) {
          return damaged.kind == Deafness::damaged && damaged.start <= span->end && damaged.end >= span->start &&
                 (span->kind == Deafness::damaged || span->kind == Deafness::frames_lost);
        }))
      g.take(*home, f);
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

void join(std::vector<std::size_t>& list, const std::vector<std::size_t>& more) {
  list.insert(list.end(), more.begin(), more.end());
  std::sort(list.begin(), list.end());
  list.erase(std::unique(list.begin(), list.end()), list.end());
}

const char* kind_name(IncidentKind kind) {
  constexpr const char* kNames[kIncidentKinds] = {
      "silence",  "restarts", "bus-silence", "errors", "address",  "equal-units", "missing",
      "software", "load",     "partner",     "source", "recorder", "capture",     "alone"};
  return kNames[static_cast<std::size_t>(kind)];
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
  gather_by_codes(g, IncidentKind::capture, {"capture.damaged"}, false);
  gather_damaged_times(g);
  gather_by_codes(g, IncidentKind::recorder, {"recorder.blind"}, false);
  gather_beginning(g);
  fold_consequences(all, g.incidents, g.taken);
  gather_by_codes(g, IncidentKind::errors,
                  {"bus.error-frames", "bus.errors-with-load", "bus.off", "bus.error-passive"}, false);
  gather_by_codes(g, IncidentKind::partner, {"task-controller.never-there", "task-controller.lost"}, true);
  gather_by_codes(g, IncidentKind::partner, {"terminal.lost"}, true);
  gather_by_codes(g, IncidentKind::partner, {"file-server.lost"}, true);
  gather_by_codes(g, IncidentKind::source, {"speed.source-lost", "speed.frozen"}, true);
  gather_by_codes(g, IncidentKind::source, {"position.lost", "position.frozen"}, true);
  gather_by_codes(g, IncidentKind::software, {"software.differs-among-equals", "device.version-mismatch"},
                  true);
  fold_consequences(all, g.incidents, g.taken);
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
