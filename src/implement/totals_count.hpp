// One counter of an implement, a total of DDIs such as 80, 81 or 116, as it was reported: in stretches over
// which its growth means something, with what the values on the bus say was delivered meanwhile.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "can/mark.hpp"
#include "implement/totals_rate.hpp"

namespace tramlog {

/// From one report to a later one, without anything between that sets the counter.
struct CountedStretch {
  std::int64_t first_raw = 0, last_raw = 0;
  Mark first_at, last_at;
  Delivered first, last;  // by the values on the bus
  bool broken =
      false;  // the recorder was blind, or device or task controller started again: not all of it was seen
  std::uint64_t reports = 0;

  double growth() const { return static_cast<double>(last_raw) - static_cast<double>(first_raw); }
  Delivered delivered() const { return last.since(first); }
};

struct CounterJump {
  Mark at;
  std::int64_t from_raw = 0, to_raw = 0;
};

class TotalCounter {
 public:
  static constexpr std::size_t kMaxStretches = 32;  // the longest are kept
  static constexpr std::size_t kMaxJumps = 12;

  /// A report by the device. `so_far`: what was delivered up to now. `amount_per_count`: of one raw count; 0:
  /// not known.
  void report(std::int64_t raw, Mark at, const Delivered& so_far, double amount_per_count, double frozen_s);
  /// The task began or ended: from here on the device may have set the counter to 0.
  void task_edge(bool begins, Mark at, const Delivered& so_far);
  /// A task controller wrote the counter.
  void written(Mark at);
  /// The recorder was blind, or one side started again.
  void interrupted();
  /// What `so_far` sums up has changed: no stretch reaches across.
  void sources_changed();

  /// Ended ones and the one under way, those with at least two reports.
  std::vector<CountedStretch> stretches() const;
  const std::vector<CounterJump>& jumps() const { return jumps_; }
  std::uint64_t jump_count() const { return jump_count_; }
  std::uint64_t reports() const { return reports_; }
  std::optional<std::int64_t> last_raw() const { return last_raw_; }
  Mark last_at() const { return last_at_; }
  /// The longest time it stood still although something was delivered that it should have counted.
  const std::optional<CountedStretch>& frozen() const { return frozen_; }

 private:
  void end_stretch();

  std::optional<CountedStretch> open_;
  std::vector<CountedStretch> ended_;
  std::vector<CounterJump> jumps_;
  std::uint64_t jump_count_ = 0, reports_ = 0;
  std::optional<std::int64_t> last_raw_;
  Mark last_at_;
  bool may_jump_ = true;      // the next report may be anything
  std::optional<Mark> edge_;  // the latest task edge
  struct Start {
    Mark at;
    Delivered so_far;
    std::int64_t raw_before = 0;
  };
  std::optional<Start> start_;  // the task began, and no report came since
  bool broken_since_edge_ = false;
  std::optional<CountedStretch> standing_, frozen_;
};

}  // namespace tramlog
