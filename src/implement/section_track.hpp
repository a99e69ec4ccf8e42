// Follows one section: what it was told, what it did, how long that took. Bounded; evaluated lazily, so that
// calls may be as rare as the messages are.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "base/step_series.hpp"
#include "can/mark.hpp"
#include "implement/section_states.hpp"

namespace tramlog {

/// Times of many switchings; beyond kKept a fair sample of them.
class DelayTally {
 public:
  static constexpr std::size_t kKept = 128;
  void add(double seconds, Mark command, double limit_s);
  std::uint64_t count() const { return count_; }
  std::vector<double> values() const { return {values_.begin(), values_.end()}; }
  double worst_s() const { return worst_s_; }
  Mark worst_at() const { return worst_at_; }                            // its command
  const std::optional<Mark>& first_late() const { return first_late_; }  // the first beyond the limit

 private:
  std::uint64_t count_ = 0;
  std::vector<float> values_;
  double worst_s_ = 0;
  Mark worst_at_;
  std::optional<Mark> first_late_;
};

/// Limits of one section, seconds (dbc/seeding-limits.toml, [section]).
struct SectionLimits {
  double on_delay_s = 0, off_delay_s = 0, never_follows_s = 0, flicker_s = 0, flicker_window_s = 0,
         outside_work_s = 0;
};

struct SectionTally {
  static constexpr std::size_t kMarks = 4;
  DelayTally on, off;  // from the command to the told state, nothing else in between
  /// The master state of the boom changed in between: from the command, and from the moment when both were
  /// on.
  DelayTally shared_on, ready_on, shared_off;
  std::uint64_t commands_on = 0, commands_off = 0, followed_on = 0, followed_off = 0;
  std::uint64_t never_on = 0, never_off = 0;
  std::uint64_t came_back =
      0;  // of never_off: on until the boom was lifted, and on again when it was lowered
  std::vector<Mark> never_on_at, never_off_at;  // their commands, at most kMarks
  std::uint64_t flickers = 0;                   // in all
  std::uint64_t flickers_dense = 0;             // the most within flicker_window_s
  std::vector<Mark> flickers_at;                // ends of the first; at most kMarks
  double on_s = 0, off_s = 0, error_s = 0, overridden_s = 0;
  double against_s = 0;                          // overridden, and not as commanded
  double outside_s = 0;                          // stretches beyond outside_work_s
  double longest_outside_s = 0, off_work_s = 0;  // off_work_s: watched while the work state was off
  std::optional<Mark> error_at, overridden_at, outside_at;
  std::uint64_t told = 0, switchings = 0;
  bool override_told = false;
  StepSeries commanded_series, on_series;  // 0 off, 1 on, by their time
};

class SectionTrack {
 public:
  explicit SectionTrack(const SectionLimits& limits) : limits_(limits) {}

  /// A binding command. `dated`: it is known to be new, not the repetition of one before the recording.
  void command(bool on, Mark at, bool dated);
  /// Commands do not bind any more, or are forgotten.
  void release(Mark at);
  void actual(SectionState state, Mark at);
  void overridden(bool now, Mark at);
  /// `master`: boom and device are on, as far as known. `told_on`: what they told as their work state.
  /// `moving`: not standing.
  struct Conditions {
    bool master = true;
    std::optional<bool> told_on;
    bool moving = true;
    bool operator==(const Conditions&) const = default;
  };
  void conditions(const Conditions& now, Mark at);
  /// Nothing is known any more. `doubtful`: what was found last may be wrong too (the recorder was deaf).
  void forget(TimeNs now, bool doubtful);
  void advance(TimeNs now);
  /// What it was told and what it did is kept for pictures.
  void keep_series() { keeps_series_ = true; }

  std::optional<SectionState> state() const { return state_; }
  SectionTally concluded(TimeNs end) const;

 private:
  struct Pending {
    bool on = false;
    Mark at;
    bool clean = false, shared = false;
    std::optional<TimeNs> ready;  // when the last other condition was met
  };
  enum class Kind : std::uint8_t { on, off, shared_on, shared_off, never_on, never_off, came_back, flicker };
  struct Found {
    TimeNs at = 0;
    Kind kind = Kind::on;
    double seconds = 0, ready_s = 0;
    Mark mark;
  };
  static void commit(SectionTally& tally, const SectionLimits& limits, std::vector<TimeNs>& recent,
                     const Found& found);
  void found(TimeNs at, Kind kind, double seconds, double ready_s, Mark mark);
  void settle(TimeNs before);
  void refresh(Mark at);
  void close_outside();
  bool opposes() const;
  SpanNs span(double seconds) const { return static_cast<SpanNs>(seconds * 1e9); }

  SectionLimits limits_;
  SectionTally tally_;
  bool keeps_series_ = false;
  std::vector<Found> found_;           // not yet beyond doubt
  std::vector<TimeNs> flicker_times_;  // within the window
  std::optional<TimeNs> last_;         // integrated up to here
  std::optional<SectionState> state_;
  std::optional<bool> command_;
  Mark command_at_;
  std::optional<Pending> pending_;
  Conditions conditions_;
  bool overridden_ = false;
  TimeNs muddled_until_ = INT64_MIN, cause_until_ = INT64_MIN;
  std::optional<Mark> free_;  // the last switching without a cause
  std::optional<Mark> opposes_since_;
  bool never_counted_ = false;
  bool cut_short_ = false;  // the boom was lifted while "off" stood open for long
  std::optional<Mark> outside_since_;
  double outside_run_s_ = 0;
};

}  // namespace tramlog
