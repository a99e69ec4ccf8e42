// How fast the machine drives and where, from all the sources that an ISO 11783 bus has (fact sheet, process
// data, 5.10; signals, 1 and 3). One for each bus. A pure state machine.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "can/mark.hpp"
#include "isobus/message.hpp"
#include "isobus/speed.hpp"

namespace tramlog {

struct SpeedReading {
  std::optional<double>
      mm_s;               // forwards or backwards, never negative; none: said to be not available or in error
  bool in_error = false;  // 0xFExx
  Mark at;
};

class MachineState {
 public:
  /// PGNs that take() reads.
  static bool wants(Pgn pgn);
  /// True if the machine's speed() may have changed.
  bool take(const Message& message);

  /// Latest reading of a source; none if it was never heard.
  const std::optional<SpeedReading>& reading(SpeedSource source) const {
    return readings_[static_cast<std::size_t>(source)];
  }
  /// The speed to calculate with at `now`: the machine selected speed, else ground, else wheel, else
  /// positioning, the first that is valid and not older than kSpeedHolds. None: nobody tells a speed.
  std::optional<double> speed_mm_s(TimeNs now) const;
  std::optional<SpeedSource> source(TimeNs now) const;
  static constexpr SpanNs kSpeedHolds = 1500 * kMillisecond;
  /// Several senders of one source: the one that spoke first counts until it has given no valid value for so
  /// long.
  static constexpr SpanNs kSenderHolds = 5 * kSecond;

 private:
  std::array<std::optional<SpeedReading>, kSpeedSources> readings_;
  struct Sender {
    std::uint32_t who = 0;  // address and PGN
    TimeNs spoke = 0;       // took over, or gave a valid value
  };
  std::array<Sender, kSpeedSources> senders_{};
};

}  // namespace tramlog
