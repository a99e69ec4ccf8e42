// A position (PGN 129025) that stands while the machine drives: latitude and longitude exactly the same in
// all messages for `position.frozen_s`, while a living speed source tells `position.frozen_mm_s` and more and
// none tells a standstill (fact sheet, signals, 3).
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "base/bytes.hpp"
#include "implement/spell.hpp"
#include "implement/standing_speeds.hpp"

namespace tramlog {

class FrozenPosition {
 public:
  explicit FrozenPosition(const SeedingLimits& limits)
      : frozen_s_(limits["position.frozen_s"]), driving_mm_s_(limits["position.frozen_mm_s"]) {}

  /// A message of 8 bytes and more: B1-B4 latitude, B5-B8 longitude, 1e-7 degrees, signed.
  void take(Mark at, Address source, Bytes data);
  void judge(Mark at, const StandingSpeeds& speeds);
  /// Time has come this far.
  void pass(TimeNs now);
  void blind();
  void conclude(TimeNs end, std::vector<CheckLine>& lines) const;

 private:
  void close(TimeNs at);

  double frozen_s_, driving_mm_s_;
  std::optional<Address> who_;
  std::optional<TimeNs> spoke_;
  std::uint64_t place_ = 0;  // the eight bytes
  std::optional<Mark> since_;
  std::uint64_t messages_ = 0;  // in this place
  std::uint64_t count_ = 0, changes_ = 0;
  double driven_s_ = 0, longest_s_ = 0;  // while driving; in one place meanwhile
  std::optional<TimeNs> judged_;
  Spell frozen_;
};

}  // namespace tramlog
