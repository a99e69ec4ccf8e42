// The bus's own date and time against the recording's clock: a box in a cab may have no clock that survives the night.
// Fact sheet, signals: time and date (PGN 65254), system time (PGN 126992).
#pragma once

#include <cstdint>
#include <optional>

#include "base/time.hpp"
#include "can/can_id.hpp"
#include "can/mark.hpp"
#include "isobus/message.hpp"

namespace tramlog {

/// Bus time minus recording time.
struct ClockComparison {
  BusIndex bus = 0;
  Pgn pgn = 0;             // the message that told it; system time is preferred
  Address source = 0;
  std::uint64_t count = 0;
  Mark first, last;
  SpanNs first_offset = 0, last_offset = 0;
  SpanNs least = 0, greatest = 0;
};

/// UTC of a time and date message (8 bytes): seconds 0.25 s, minutes, hours, month, day in quarters, year from 1985. None if a field
/// is not available, in error or out of range, or if it does not say that it is UTC (byte 8: local hour offset, offset -125;
/// 125 = the time itself is local; outside -23..23 and 124: unknown).
std::optional<TimeNs> parse_time_date(Bytes data);
/// UTC of an NMEA 2000 system time message: bytes 3-4 days since 1970-01-01, bytes 5-8 time of day in 0.1 ms; only if
/// the source is a satellite or radio clock (low half of byte 2: 0 to 4).
std::optional<TimeNs> parse_system_time(Bytes data);

class BusClock {
 public:
  static bool wants(Pgn pgn) { return pgn == 65254 || pgn == 126992; }
  void take(const Message& message);
  void take_clock_step() { best_.reset(); }
  const std::optional<ClockComparison>& comparison() const { return best_; }

 private:
  std::optional<ClockComparison> best_;
};

}  // namespace tramlog
