// What checks and causes look at: the conclusions so far and the plain records behind them. Nothing here
// moves.
#pragma once

#include <string>
#include <vector>

#include "exam/bus_watch.hpp"
#include "exam/conclusions.hpp"
#include "implement/limits.hpp"

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
  std::vector<Mark> each;  // at most Party::kMaxRestartTimes
};

/// One stream's share of a highly loaded time.
struct LoadTalker {
  std::optional<std::size_t> controller;
  Address source = 0, destination = 0;
  Pgn pgn = 0;
  std::uint64_t bits = 0;  // about: frames times the length of the last one
  bool transfer = false;   // data of a transport protocol
};

/// A stream that took up a large share of the bus.
struct Flood {
  std::optional<std::size_t> controller;
  BusIndex bus = 0;
  Pgn pgn = 0;
  Address source = 0, destination = 0;
  TimeNs start = 0, end = 0;
  Mark last;
  double usual_per_s = 0;  // its earlier pace, else the nominal one; 0: neither is known
  double per_s = 0;        // on average while it flooded
  double share_pct = 0;    // of what the bus can carry
  bool goes_on = false;    // until the end of the recording
};

/// A cyclic message whose gaps spread far more than before.
struct JitterGrowth {
  std::optional<std::size_t> controller;
  BusIndex bus = 0;
  Pgn pgn = 0;
  Address source = 0, destination = 0;
  SpanNs usual = 0;   // half of the gaps were no longer, before
  SpanNs before = 0;  // 19 of 20 gaps were no longer, before
  SpanNs now = 0;     // .. and afterwards, at worst
  Mark from, until;   // found out, and last found
};

/// What one controller answered to requests for one parameter group.
struct RequestRecord {
  std::optional<std::size_t> controller;
  BusIndex bus = 0;
  Address address = 0;  // of whom was asked
  Address asker = 0;    // the latest one
  Pgn pgn = 0;
  unsigned asked = 0;  // those whose outcome is known
  unsigned unanswered = 0;
  unsigned refused[3] = {0, 0, 0};  // by control byte 1, 2, 3
  Mark first, last;                 // of what was not answered or refused
};

/// One who serves others and tells so by a cyclic status to all (fact sheet 6.4, 6.5).
enum class ServerKind : std::uint8_t { terminal, task_controller, file_server };
/// How long its partners wait for its status, ns.
SpanNs patience_of(ServerKind kind, const SeedingLimits& limits);
struct ServerLoss {
  Mark last;  // of its status, or of anything
  std::optional<Mark> back;
  bool whole = false;  // the controller was silent, not only its status
};
struct ServerClient {
  std::optional<std::size_t> controller;
  Address address = 0;
  Mark last;
  TimeNs first = 0;
  std::uint64_t count = 0;
};
struct ServerRecord {
  ServerKind kind = ServerKind::terminal;
  std::optional<std::size_t> controller;
  BusIndex bus = 0;
  Address address = 0;
  TimeNs first = 0;
  Mark last;                          // status
  std::vector<ServerClient> clients;  // whoever speaks to it in that role
  std::vector<ServerLoss> losses;     // longer than its partners wait
};

/// A client that told a version higher than its terminal's.
struct VersionRecord {
  std::optional<std::size_t> client, server;
  BusIndex bus = 0;
  Address client_address = 0, server_address = 0;
  unsigned client_version = 0, server_version = 0;
  Mark at;
};

/// Supply voltage as a controller tells it (SPN 168), V.
struct SupplyRecord {
  std::optional<std::size_t> controller;
  BusIndex bus = 0;
  Address address = 0;
  std::uint64_t count = 0;
  double least_v = 0, most_v = 0;
  bool system_24 = false;
  Mark least_at;
  /// Longest time in which it told less than another one by more than the limit; whose voltage that was.
  SpanNs differs_for = 0;
  Mark differs_from, differs_until;
  double differs_v = 0;
  std::optional<std::size_t> other;
};
/// A stretch of low voltage.
struct SupplySpell {
  std::optional<std::size_t> controller;
  BusIndex bus = 0;
  Address address = 0;
  Mark start, end;  // first and last low value
  double least_v = 0;
  bool system_24 = false;
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
  BusRate rate;
  Mark last_frame;                  // of the bus
  std::vector<LoadTalker> talkers;      // in highly loaded seconds, the most talkative first
  std::optional<Mark> engine_told;  // the last valid engine speed
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
  std::vector<Flood> floods;
  std::vector<JitterGrowth> jitters;
  std::vector<RequestRecord> requests;
  std::vector<ServerRecord> servers;
  std::vector<VersionRecord> versions;
  std::vector<SupplyRecord> supplies;
  std::vector<SupplySpell> supply_spells;
  std::vector<std::size_t> mute;  // controllers of whom nothing but claims was heard
  const SeedingLimits* limits = &SeedingLimits::built_in();
  std::uint64_t malformed_claims = 0;
  std::vector<std::pair<std::string, std::uint64_t>> caps;  // which limit was hit, how often
};

}  // namespace tramlog
