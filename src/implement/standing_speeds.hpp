// Speeds that stand: for each source the stretch of values that are exactly equal, and whether anything
// proves that the machine's speed was another meanwhile. Definitions:
//  - A stretch counts while the source tells `speed.working_mm_s` and more; it ends with another value,
//  another
//    sender, "not available", or a pause.
//  - The source's own distance proves it, if it moved before and stands for as long as the speed does, longer
//    than it ever did while driving.
//  - Another source proves it, if it went through `speed.frozen_other_mm_s` in several changes (smoothed; one
//    jump is a fault of its own), after the time in which a filtered source still follows, and this one did
//    not follow within that time either. How much it takes depends on how this one was before:
//      restless: held no value for a tenth of `speed.frozen_s`, not even at a steady speed. A third of it
//      will do. lively:   stands five times as long as it ever did. else a cruise with a coarse sensor looks
//      alike: two sources, no third that agrees, and more than two sources may differ by (`speed.differ_pct`,
//      slip). So too where the own distance goes on.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "implement/limits.hpp"
#include "implement/machine_state.hpp"
#include "implement/spell.hpp"

namespace tramlog {

class StandingSpeeds {
 public:
  explicit StandingSpeeds(const SeedingLimits& limits);

  /// A valid value of `source`, sent by `who`; `distance`: its counter in mm, none if it has no valid one.
  void take(SpeedSource source, Mark at, std::uint32_t who, double mm_s,
            std::optional<std::uint32_t> distance);
  /// The source tells no valid value, or none that counts (simulated, key off).
  void end(SpeedSource source, TimeNs now);
  /// Time has come this far; about every 100 ms.
  void judge(TimeNs now);
  /// The recorder was deaf, or its clock stepped.
  void blind();
  void conclude(TimeNs end, std::vector<CheckLine>& lines) const;

  /// The machine has driven at `mm_s` and more since this time, by the word of a source that lived (changed,
  /// or counted distance) after `since`; none if no such source tells it, or another one tells a standstill.
  std::optional<TimeNs> moves_since(double mm_s, TimeNs since, TimeNs now) const;

 private:
  enum Was : std::size_t { restless, lively, coarse };
  struct Other {
    bool begun = false;
    double low = 0, high = 0;
    std::uint64_t changes = 0;                     // of it before it was looked at
    std::array<std::optional<TimeNs>, 3> reached;  // it went through what a Was demands
  };
  struct Stretch {
    Mark start;
    TimeNs last = 0;
    std::uint64_t values = 0;
    double driven_before_s = 0, steady_before_s = 0;
    std::uint64_t changes_before = 0;
    std::uint64_t distance_changes_before = 0;
    std::array<Other, kSpeedSources> others{};
    bool proven = false;
  };
  struct Track {
    std::uint32_t who = 0;
    std::optional<TimeNs> at;  // latest valid value
    double mm_s = 0, smooth = 0;
    std::uint64_t changes = 0;
    std::optional<double> step_mm_s;  // smallest change
    std::optional<TimeNs> lived;      // latest change, of the speed or the distance
    std::optional<TimeNs> fast_since;
    double driven_s = 0;   // told while driving, frozen stretches apart
    double steady_s = 0;   // of these at a steady speed
    double longest_s = 0;  // stretch, frozen ones apart
    // Distance.
    std::optional<std::uint32_t> distance;
    std::uint64_t distance_changes = 0;
    TimeNs distance_since = 0;
    double travel_mm = 0;          // by the speed, since the distance changed
    double longest_travel_mm = 0;  // between two changes
    std::optional<Stretch> stretch;
    Spell frozen;
    std::vector<Moment> back;
  };
  const Track& track(SpeedSource source) const { return tracks_[static_cast<std::size_t>(source)]; }
  static void forget_history(Track& track);
  void take_distance(Track& track, TimeNs at, double driven_mm, std::optional<std::uint32_t> distance);
  void close(SpeedSource source, TimeNs at);
  bool current(const Track& track, TimeNs now) const;
  void compare(Track& track, SpeedSource source, TimeNs now);
  Was was(const Track& track, double length_s) const;
  bool distance_stands(const Track& track) const;
  std::string proof(const Track& track, SpeedSource source, TimeNs now) const;
  void frozen_line(SpeedSource source, TimeNs end, std::vector<CheckLine>& lines) const;

  double working_mm_s_, frozen_s_, other_mm_s_, differ_pct_, fast_mm_s_;
  std::array<Track, kSpeedSources> tracks_;
};

}  // namespace tramlog
