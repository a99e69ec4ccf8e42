// Which few blocks of a capture do not stand where their time says, and where its clock really stepped.
#pragma once

#include <cstddef>
#include <cstdint>
#include <map>
#include <optional>
#include <vector>

#include "base/time.hpp"

namespace tramlog {

/// Blocks whose times should not go back among each other: the packets of one interface, its statistics, ..
using Lane = std::uint64_t;

/// A block outside the longest non-decreasing run of its lane.
struct Misplaced {
  std::uint64_t ordinal = 0;  // of the timed blocks of the file, from 0
  TimeNs time = 0;
  Lane lane = 0;
  bool moves = false;  // few stand so, and the lane has a place for its time; else it stays where it is
  std::optional<TimeNs> instead;  // its place is right, its time is not: this one fits there
};

/// The clock went back from one block of a lane to the next and stayed back.
struct StepBack {
  TimeNs before = 0;
  TimeNs after = 0;
};

/// Sees the timed blocks of one section in the order of the file. Memory: 128 blocks a lane, and what is
/// misplaced up to a cap.
class TimeOrder {
 public:
  static constexpr std::size_t kWindow =
      128;  // blocks of a lane that are weighed together; half of them are decided
  static constexpr std::size_t kLongestRun = 8;  // neighbours that may be out of place together
  static constexpr std::size_t kMostMisplaced = 65'536;
  static constexpr std::size_t kMostSteps = 1000;
  static constexpr SpanNs kBeyond = kSecond;  // a time may lie so far outside the lane's others

  void take(Lane lane, std::uint64_t ordinal, TimeNs time);

  struct Verdict {
    std::vector<Misplaced> misplaced;  // by ordinal
    std::vector<StepBack> steps;
    bool crowded = false;  // so many stand out of order that it is the recording's way: none moves
  };
  /// Ends the section and begins the next.
  Verdict finish();

 private:
  struct Pending {
    std::uint64_t ordinal;
    TimeNs time;
  };
  struct State {
    std::vector<Pending> pending;
    bool begun = false;
    TimeNs first = 0, last = 0;                      // of the run so far
    std::optional<Pending> second, end, end_before;  // of the run: second block, the last two
    std::uint64_t first_ordinal = 0;
    std::vector<Misplaced> run;  // neighbours out of place, not yet judged
  };

  void decide(Lane lane, State& state, std::size_t count);
  void end_run(State& state, std::size_t may_move, std::optional<TimeNs> next);
  /// What a stamp far from both its neighbours should be.
  static std::optional<TimeNs> anew(TimeNs time, std::optional<TimeNs> before, std::optional<TimeNs> behind);
  /// The first and the last block have one neighbour only: a stamp that a bit threw far out is none of the
  /// lane's.
  void judge_ends(Lane lane, State& state);
  void note_step(const State& state, std::optional<TimeNs> next);

  std::map<Lane, State> lanes_;
  std::vector<Misplaced> misplaced_;
  std::vector<StepBack> steps_;
  std::uint64_t blocks_ = 0;
  bool stepped_ = false;
  bool over_cap_ = false;
};

}  // namespace tramlog
