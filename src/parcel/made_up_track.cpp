#include "parcel/made_up_track.hpp"

#include <cmath>
#include <numbers>

namespace tramlog {
namespace {

constexpr double kTurn = 80;  // degrees; there the track turns back

/// To 80, back to -80, and so on.
double folded(double degrees) {
  const double phase = std::fmod(degrees, 4 * kTurn);
  if (phase <= kTurn) return phase;
  if (phase <= 3 * kTurn) return 2 * kTurn - phase;
  return phase - 4 * kTurn;
}

}  // namespace

GridPosition MadeUpTrack::next(GridPosition place) {
  if (last_ && !(*last_ == place)) {
    const double north = static_cast<double>(place.latitude - last_->latitude) * step_deg_;
    double east = static_cast<double>(place.longitude - last_->longitude) * step_deg_;
    if (std::abs(east) > 180) east = 360 - std::abs(east);  // over the date line
    const double mean = static_cast<double>(place.latitude) * step_deg_ * std::numbers::pi / 180;
    travelled_deg_ += std::hypot(north, east * std::cos(mean));
    const auto latitude = static_cast<std::int64_t>(std::llround(folded(travelled_deg_) / step_deg_));
    // What moved has moved, be it by less than a step.
    latitude_ = latitude == latitude_ ? latitude + 1 : latitude;
  }
  last_ = place;
  return latest();
}

}  // namespace tramlog
