// What checks and causes look at: the conclusions so far and the plain records behind them. Nothing here
// moves.
#pragma once

#include <string>
#include <vector>

#include "exam/bus_watch.hpp"
#include "exam/conclusions.hpp"

namespace tramlog {

/// A controller that a working set master announced (fact sheet, network and diagnostics, 3.5).
struct AnnouncedMember {
  BusIndex bus = 0;
  Address master_address = 0;
  std::optional<std::size_t> master;  // controller index
  Name name;
  Mark at;
  bool heard = false;  // it claimed at some time on this bus
};

/// A cyclic message that ended while its sender went on (fact sheet 6.8).
struct MessageStop {
  std::optional<std::size_t> controller;
  BusIndex bus = 0;
  Pgn pgn = 0;
  Address source = 0, destination = 0;
  Mark last;
  std::optional<Mark> resumed;
  SpanNs period = 0;
  bool cyclic = false;          // it must come all the time (schema, or the standard)
  bool near_blindness = false;  // the recorder was blind close to its end
};

/// How fast a message really comes for which the schema has a period.
struct MessagePace {
  std::optional<std::size_t> controller;
  BusIndex bus = 0;
  Pgn pgn = 0;
  Address source = 0, destination = 0;
  std::string message;  // its name in the schema
  SpanNs nominal = 0;
  SpanNs period = 0;  // usual gap between two of them
  std::uint64_t count = 0;
  TimeNs first = 0;
  Mark last;
};

/// A controller that started again without a pause long enough to be a dropout.
struct Restart {
  std::size_t controller = 0;
  unsigned times = 0;
  Mark last;
};

struct SoftwareChange {
  std::size_t controller = 0;
  std::vector<std::string> before;
  Mark before_at, at;
};

/// A silence that somebody had asked for or announced: no dropout.
struct IntendedSilence {
  std::optional<std::size_t> controller;
  Address address = 0;
  BusIndex bus = 0;
  Mark start;
  std::optional<Mark> end;
  bool farewell = false;  // heartbeat 255; else a DM13 stop was in force
};

struct ClockStepBack {
  Mark at;
  SpanNs back = 0;
};

struct BusObservations {
  std::vector<ErrorBurst> bursts;
  std::vector<Suspension> suspensions;
  std::vector<KeySwitch> key_changes;
  std::vector<Mark> engine_starts;  // engine speed rose from standstill
};

struct Contest {
  AddressContest record;
  std::size_t winner = 0, loser = 0;  // controller indexes, by NAME
};

struct Observations {
  std::vector<Contest> contests;
  std::vector<std::pair<DuplicateName, std::size_t>> duplicates;  // with controller index
  std::vector<std::size_t> double_claims;                         // controllers
  std::vector<CommandedAddress> commands;
  std::vector<AnnouncedMember> announced;
  std::vector<MessageStop> stops;
  std::vector<MessagePace> paces;
  std::vector<Restart> restarts;
  std::vector<SoftwareChange> software_changes;
  std::vector<IntendedSilence> intended;
  std::vector<ClockStepBack> clock_steps;
  std::vector<BusObservations> buses;  // as Conclusions::buses
  std::uint64_t malformed_claims = 0;
  std::vector<std::pair<std::string, std::uint64_t>> caps;  // which limit was hit, how often
};

}  // namespace tramlog
