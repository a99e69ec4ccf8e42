// Do the speed sources agree? Compared smoothed, and only while the machine drives steadily: receivers
// filter, and lag behind when it brakes.
#pragma once

#include <array>
#include <optional>

#include "implement/limits.hpp"
#include "implement/machine_state.hpp"
#include "implement/spell.hpp"

namespace tramlog {

class SpeedComparison {
 public:
  explicit SpeedComparison(const SeedingLimits& limits);

  /// A new valid reading of a source.
  void take(SpeedSource source, TimeNs at, double mm_s);
  /// Time has come this far. A simulated machine selected speed is no source.
  void look(Mark now, bool selected_is_simulated);
  /// The recorder was deaf.
  void blind();
  CheckLine line(TimeNs end) const;

 private:
  struct Track {
    std::optional<TimeNs> at;
    double smooth = 0;
    bool steady = false;
  };
  struct Pair {
    SpeedSource a = SpeedSource::wheel, b = SpeedSource::wheel;
    double compared_s = 0, difference_pct_s = 0;
    Spell differs;
  };
  const Track& track(SpeedSource source) const { return tracks_[static_cast<std::size_t>(source)]; }
  std::string odd_one() const;

  double differ_pct_, differ_mm_s_, differ_s_;
  std::array<Track, kSpeedSources> tracks_;
  std::array<Pair, kSpeedSources*(kSpeedSources - 1) / 2> pairs_;
  std::optional<TimeNs> looked_;
};

}  // namespace tramlog
