// One bus: load, counts, the recorder's hearing, gaps in which nothing came, and the 256 voices.
#pragma once

#include <array>
#include <string>
#include <vector>

#include "base/step_series.hpp"
#include "exam/hearing.hpp"
#include "exam/party.hpp"

namespace tramlog {

/// Nothing was heard on the bus between two frames.
struct GapRecord {
  Mark start;
  std::optional<Mark> end;
  unsigned statistics = 0;     // blocks in between
  std::uint64_t received = 0;  // frames that the interface counted in between, if it tells
  SpanNs fastest_period = 0;   // of the rhythms that were running
  unsigned rhythms = 0;
};

/// Error frames close together.
struct ErrorBurst {
  Mark first, last;
  std::uint64_t frames = 0;
  std::uint32_t classes = 0;         // OR of the class masks (fact sheet 8.3)
  std::uint8_t controller_bits = 0;  // OR of data[1]
  std::uint8_t protocol_bits = 0;    // OR of data[2]
  std::uint8_t receive_errors = 0;   // highest data[7]
  std::uint8_t transmit_errors = 0;  // highest data[6]
};

struct KeySwitch {
  TimeNs time = 0;
  std::uint64_t frame = 0;
  bool on = false;
  bool stood = false;  // the first word of one who was there before: how it stands, no turn of it
};

/// DM13 asked for silence (fact sheet 7.6).
struct Suspension {
  Mark start;
  Address by = 0;
  TimeNs last_word = 0;       // latest DM13 of either kind
  std::optional<TimeNs> end;  // start broadcast heard
};

/// Load and error frames second by second.
struct BusRate {
  std::uint64_t bits_counted = 0, frames_counted = 0, errors_counted = 0;
  // Seconds with frames: what a correlation needs. x: load in percent, y: error frames.
  std::uint64_t looks = 0, looks_with_errors = 0;
  double sum_x = 0, sum_y = 0, sum_xx = 0, sum_yy = 0, sum_xy = 0;
  std::uint64_t error_sum = 0;
  struct Tenth {
    std::uint64_t looks = 0, errors = 0;
  };
  std::array<Tenth, 11> tenths{};  // by load: 0 to 10 %, .. 90 to 100 %, more
  // Highly loaded time.
  SpanNs high_total = 0;
  std::uint64_t high_bits = 0;
  std::optional<TimeNs> high_since;
  TimeNs high_from = 0, high_until = 0;  // the longest stretch
};

struct BusWatch {
  static constexpr std::size_t kMaxGaps = 256;
  static constexpr std::size_t kMaxBursts = 256;
  /// Anything shorter is looked at no further.
  static constexpr SpanNs kShortestGap = kSecond;

  // Touched by every frame.
  TimeNs last = 0;                // of the latest frame
  TimeNs window_end = INT64_MIN;  // of the present 1 s load window
  std::uint64_t window_bits = 0;
  std::uint64_t frames = 0;

  std::uint64_t last_frame = 0;
  std::uint64_t total_bits = 0;  // of closed windows
  std::uint64_t peak_bits = 0;
  TimeNs peak_at = 0;
  StepSeries window_series;  // bits of each closed window
  TimeNs first = 0;  // first event of any kind
  TimeNs first_frame_time = 0;
  std::uint64_t error_frames = 0, eleven_bit = 0, remote = 0, fd = 0, foreign = 0;
  BusInfo info;
  Hearing hearing;
  // Statistics blocks since the latest frame; `statistics_mark` = time of that frame.
  TimeNs statistics_mark = INT64_MIN;
  unsigned statistics_since_frame = 0;
  std::uint64_t received_first = 0, received_last = 0;  // isb_ifrecv of the first and latest of them
  TimeNs asked_all_for_software = 0;                    // 0: never
  std::uint64_t asked_all_frame = 0;
  std::vector<GapRecord> gaps;
  std::vector<ErrorBurst> bursts;
  std::optional<TimeNs> damage_open;    // damage since this time, the next frame ends it
  std::vector<Suspension> suspensions;  // DM13 stops
  std::optional<KeySwitch> key;
  std::vector<KeySwitch> key_changes;  // at most kMaxGaps
  std::vector<Mark> engine_starts;     // at most kMaxGaps
  std::vector<Mark> engine_stops;      // at most kMaxGaps
  std::optional<bool> engine_runs;     // by its last reported speed
  std::optional<Mark> engine_told;     // when that was
  std::uint64_t over_cap = 0;
  BusRate rate;
  std::array<Party*, 256> voices{};  // by source address; null: not heard yet
};

}  // namespace tramlog
