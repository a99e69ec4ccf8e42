// Does the machine move or work? Then nothing may be sent (contract: never while the machine moves or works).
// Pure; fed with everything that is heard on one bus.
//
//   MotionGuard guard(listening_since);
//   guard.take(event);  // each frame, error frame and notice
//   for (const std::string& reason : guard.reasons_not_to_transmit(now)) ...
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "can/can_id.hpp"
#include "can/event.hpp"
#include "isobus/name.hpp"
#include "isobus/speed.hpp"

namespace tramlog {

/// Our own choices; the fact sheets give units and rules of thumb (signals.md; network and diagnostics 9.2),
/// not these.
struct MotionLimits {
  SpanNs listen =
      3 * kSecond;  // a tractor tells its speed ten times a second; a status message comes each 2 s
  SpanNs stale = 5 * kSecond;  // an older speed says nothing
  SpanNs error_window = 5 * kSecond;
  double standstill_m_s = 0.0;       // tractor's own sensors: anything above zero moves
  double standstill_gnss_m_s = 0.5;  // a receiver that stands drifts
  double pto_rpm = 5;
  double load = 0.60;               // above it a bus is more than usually loaded (9.2)
  std::uint32_t bitrate = 250'000;  // bit/s
};

class MotionGuard {
 public:
  static constexpr std::size_t kMaxStates =
      4096;  // work states of (address, element, DDI); beyond: a reason of its own

  /// Both times are of the clock that the events carry.
  explicit MotionGuard(TimeNs listening_since, MotionLimits limits = {});

  void take(const Event& event);

  /// Why nothing may be sent now, a sentence part each; empty: nothing speaks against it. Forgets what is
  /// stale.
  std::vector<std::string> reasons_not_to_transmit(TimeNs now);

  /// Of these only those that say that the machine moves or works: they count on other buses of the same
  /// machine, too.
  std::vector<std::string> reasons_machine_moves(TimeNs now) const;

  /// A speed was told within MotionLimits::stale; false: nobody says whether the machine stands.
  bool knows_speed(TimeNs now) const;
  /// Of the last full second, 0..1 (and more if the bit rate is wrong); none before one is over.
  std::optional<double> load(TimeNs now);

 private:
  /// The speeds by SpeedSource, then the shafts.
  enum Meter : std::uint8_t { rear_pto = kSpeedSources, front_pto, kMeters };
  static const char* meter_words(unsigned meter);
  struct Value {
    double value = 0;  // m/s; rpm
    TimeNs time = 0;
    bool valid = false;
  };
  struct StateKey {
    Address address;
    std::uint16_t element;
    std::uint16_t ddi;
    auto operator<=>(const StateKey&) const = default;
  };
  struct State {
    std::uint32_t raw = 0;
    TimeNs time = 0;
  };

  void take_frame(const Event& frame);
  void take_process_data(const Event& frame);
  void take_claim(const Event& frame);
  void take_error(const Event& error);
  void roll(TimeNs now);
  void tell_meters(TimeNs now, std::vector<std::string>& reasons) const;
  void tell_states(TimeNs now, std::vector<std::string>& reasons) const;

  TimeNs since_;
  MotionLimits limits_;
  std::array<std::array<Value, 256>, kMeters> meters_{};  // by source address
  std::map<StateKey, State> states_;
  bool too_many_states_ = false;
  std::map<Address, Name> names_;
  std::deque<TimeNs> errors_;  // within the window, at most kMaxErrors
  bool more_errors_ = false;
  TimeNs frames_lost_ = INT64_MIN / 2;
  bool link_down_ = false;
  std::int64_t second_ = 0;  // counted from since_
  std::uint64_t bits_ = 0;   // in that second
  std::uint64_t bits_before_ = 0;
};

}  // namespace tramlog
