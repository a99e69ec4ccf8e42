// Positions for a private parcel: a track that begins at 0/0 and goes due north (and back, after 80 degrees).
// It is as long as the true one, it moves when that moves and stands when that stands: checks on frozen and
// lost positions find the same.
#pragma once

#include <cstdint>
#include <optional>

namespace tramlog {

struct GridPosition {
  std::int64_t latitude = 0, longitude = 0;  // whole steps of the message's own scale
  bool operator==(const GridPosition&) const = default;
};

class MadeUpTrack {
 public:
  /// `step_deg`: degrees in one step of the scale.
  explicit MadeUpTrack(double step_deg) : step_deg_(step_deg) {}

  /// The stand-in for the next position of one source; its longitude is always 0.
  GridPosition next(GridPosition place);
  GridPosition latest() const { return {latitude_, 0}; }

 private:
  double step_deg_;
  std::optional<GridPosition> last_;
  double travelled_deg_ = 0;
  std::int64_t latitude_ = 0;
};

}  // namespace tramlog
