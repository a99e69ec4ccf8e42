// Working sets as their masters announce them (ISO 11783-7; fact sheet, network and diagnostics, 3.1
// and 3.5): one master message with the number of members, then one message for each other member.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <utility>
#include <vector>

#include "base/time.hpp"
#include "isobus/message.hpp"
#include "isobus/name.hpp"

namespace tramlog {

inline constexpr Pgn kPgnWorkingSetMaster = 0xFE0D;  // 65037, B1 = members including the master
inline constexpr Pgn kPgnWorkingSetMember = 0xFE0C;  // 65036, B1-8 = NAME of one member; source = the master

/// A receiver waits this long after the latest message of a definition before it gives up (one source only: a
/// hint).
inline constexpr SpanNs kWorkingSetPatience = 350 * kMillisecond;

struct WorkingSetMember {
  Name name;
  TimeNs announced = 0;     // latest member message
  std::uint64_t frame = 0;  // its number in the capture
  bool in_current =
      false;  // announced since the latest master message (or no master message was heard at all)
};

struct WorkingSet {
  BusIndex bus = 0;
  Address master = 0;
  /// B1 of the latest master message, the master counted in; none if only member messages were heard.
  std::optional<std::uint8_t> members_told;
  TimeNs defined = 0;             // latest master message, else first member message
  TimeNs last_heard = 0;          // latest message of either kind
  std::uint64_t first_frame = 0;  // master message of the latest definition
  std::uint64_t definitions = 0;  // master messages heard
  /// Members without the master, in the order of first announcement. Those of the definition before stay
  /// until the new one is complete.
  std::vector<WorkingSetMember> members;

  std::size_t heard_in_current() const;
  /// As many different members as told were announced since the latest master message.
  bool complete() const { return members_told && heard_in_current() + 1u >= *members_told; }
  /// Not complete, and a receiver would have stopped waiting.
  bool given_up(TimeNs now) const {
    return !complete() && span_between(last_heard, now) > kWorkingSetPatience;
  }
};

struct WorkingSetStats {
  std::uint64_t malformed =
      0;  // master message without a count or with 0, member message of other than 8 bytes
  std::uint64_t not_kept = 0;  // over the caps
};

/// Collects what masters say. Whether a member is there is for the address claims to tell.
class WorkingSets {
 public:
  static constexpr std::size_t kMaxSets = 1024;    // masters, all buses
  static constexpr std::size_t kMaxMembers = 254;  // of one set, the master not counted

  /// A message of kPgnWorkingSetMaster or kPgnWorkingSetMember; others are ignored.
  void take(const Message& message);

  /// The address changed hands: what its former holder announced is over.
  void forget(BusIndex bus, Address master) { sets_.erase({bus, master}); }

  const WorkingSet* find(BusIndex bus, Address master) const;
  /// By bus, then by master address.
  const std::map<std::pair<BusIndex, Address>, WorkingSet>& all() const { return sets_; }
  const WorkingSetStats& stats() const { return stats_; }

 private:
  WorkingSet* set_of(const Message& message);
  void take_master(const Message& message);
  void take_member(const Message& message);

  std::map<std::pair<BusIndex, Address>, WorkingSet> sets_;
  WorkingSetStats stats_;
};

}  // namespace tramlog
