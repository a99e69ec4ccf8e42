// Follows one meter: cuts its life into stretches between changes of the set rate, starts and ends of work
// and other disturbances, and measures each when it ends. Bounded.
#pragma once

#include <limits>
#include <optional>

#include "implement/device.hpp"
#include "implement/meter_tally.hpp"
#include "implement/meter_trace.hpp"

namespace tramlog {

/// A set rate in force; none: not known.
struct SetRate {
  std::optional<std::int64_t> raw;
  Mark at;
  bool manual = false;  // the prescription control state says that the task controller's rates do not bind
  bool fresh = false;   // nothing can be in force from before: a task started in this recording
};

class MeterPair {
 public:
  static constexpr std::size_t kMaxSamples = 1024;  // of a stretch; more are thinned
  static constexpr double kBlock_s = 60;            // a longer stretch is measured in blocks

  MeterPair(const Device& device, const QuantityFamily& family, std::uint16_t element);

  void set_limits(std::optional<std::int64_t> minimum, std::optional<std::int64_t> maximum);
  void set_source(std::optional<std::uint16_t> element, bool ambiguous);
  void count_set() { ++tally_.set_count; }
  /// The set rate in force is now this one. `step`: it was changed; else it only became known.
  void set_rate(const SetRate& rate, bool step);
  void sample(Mark at, std::int64_t raw);
  /// The machine (and this element) works or not; nullopt: nothing tells.
  void work(std::optional<bool> working, Mark now);
  void speed(double mm_s, Mark now);
  /// Sections changed, or the like: what is under way is not undisturbed any more.
  void disturb(Mark now);
  /// Nothing may be measured across this; what is under way is dropped.
  void drop(Mark now);
  void limit_told(bool at_limit) { told_at_limit_ = at_limit; }
  /// How the device sends the delivered value.
  void sending(std::optional<double> interval_s, std::optional<double> change_raw);
  void time(TimeNs now);
  /// Set and delivered rate are kept for pictures.
  void keep_series() { keeps_series_ = true; }

  /// As if the recording ended at `end`.
  MeterTally concluded(TimeNs end) const;
  const MeterTally& tally() const { return tally_; }

 private:
  enum class Begin : std::uint8_t { step, work, disturbed, continued };
  struct Stretch {
    Begin begin = Begin::work;
    Mark at;
    double t_s = 0;
    std::optional<std::int64_t> from, to;  // of the set rate
    double before = 0, ripple = 0;         // a step's
    bool measurable = false;               // a step from undisturbed work, large enough
    double speed = std::numeric_limits<double>::quiet_NaN();
    double settle_s = 0;  // from its beginning on; known for continued ones
    RateTrace samples;
  };
  double seconds(TimeNs at) const;
  void note_gap(double gap_s);
  void note_stop(Mark at);
  Sampling sampling() const;
  void begin_stretch(Begin begin, Mark at, std::optional<std::int64_t> from);
  void end_stretch(double until_s, bool machine_changed);
  void measure_step_of(const Stretch& stretch, double until_s, double& settled_from_s, bool& counts);
  void measure_settled(const Stretch& stretch, double from_s, double until_s, bool counts);
  void account(double now_s);
  double usual_gap_s() const;
  double hold_s() const;
  void draw(TimeNs now);
  double allowance_s() const;
  double resolution() const;
  bool beyond_limit(double set, double actual) const;

  const Device& device_;
  MeterTally tally_;
  bool keeps_series_ = false;
  std::optional<TimeNs> drawn_;  // set_series and actual_series go so far
  TimeNs epoch_ = 0;
  bool has_epoch_ = false;
  SetRate set_;
  std::optional<bool> working_;
  double working_since_s_ = 0;
  std::optional<Stretch> stretch_;
  RateTrace recent_;  // the last samples of the work under way, across stretches
  std::optional<RateSample> last_;
  Mark last_at_;
  double speed_ = std::numeric_limits<double>::quiet_NaN();
  ThinnedNumbers gaps_;
  double gap_20_s_ = 0, gap_50_s_ = 0, gap_90_s_ = 0;  // their quantiles, worked out now and then
  std::uint64_t gap_count_ = 0;
  std::optional<double> interval_s_;
  std::optional<double> change_raw_;  // on change of so much
  ThinnedNumbers jumps_;              // between two values
  bool told_at_limit_ = false;
  Episodes before_first_set_;
  double accounted_s_ = 0;
  double changed_s_ = 0;       // of the latest step, start of work or disturbance
  double rate_at_change_ = 0;  // delivered when the set rate changed
  bool flowed_ = false;        // since then
  bool stopped_ = false;       // it flowed before
  double settled_since_s_ = std::numeric_limits<double>::infinity();  // of the stretch that ended last
  double noise_ = 0;                                                  // of the latest settled stretch
  bool still_counts_ = true;     // the stretch that ended last was answered
  ThinnedNumbers settle_times_;  // of the steps: dead time and twice the rise time
};

}  // namespace tramlog
