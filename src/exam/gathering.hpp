// Shared by the files that gather incidents: incidents.cpp (order, load, roster, single faults) and
// incidents_silence.cpp (who fell silent or started again). Not for others.
#pragma once

#include <cstddef>
#include <vector>

#include "exam/incidents.hpp"

namespace tramlog {

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

/// Adds, sorted, without doubles.
void join(std::vector<std::size_t>& list, const std::vector<std::size_t>& more);

// incidents_silence.cpp, in this order
void gather_silences(Gathering& gathering);
void gather_restarts(Gathering& gathering);
void join_by_low_voltage(Gathering& gathering);
void gather_bus_silences(Gathering& gathering);
/// One pair of a quiet bus and a silence that belong together becomes one incident; false: there is none
/// (more).
bool join_quiet_and_silence(Gathering& gathering);

}  // namespace tramlog
