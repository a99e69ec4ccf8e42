// Could the recorder hear? From its statistics, lost-frame counts, error frames and link changes: when it was
// blind. Fact sheet, network and diagnostics, 8.2 to 8.5 and 10.1.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "can/event.hpp"
#include "exam/conclusions.hpp"

namespace tramlog {

/// One bus's recorder.
class Hearing {
 public:
  static constexpr std::size_t kMaxSpans = 512;

  /// A statistics block; `recorded` = frames of this bus in the capture so far, `last_frame` = time of the
  /// latest.
  void take_counters(const Counters& counters, TimeNs time, std::uint64_t recorded, TimeNs last_frame);
  void take_link(LinkState state, TimeNs time);
  /// `frames` were lost between `from` (the previous frame of the bus) and `to`.
  void take_loss(std::uint64_t frames, TimeNs from, TimeNs to);
  /// Class mask and data of an error frame (8.3); `previous_frame` = time of the last frame before it.
  void take_error(std::uint32_t mask, const std::uint8_t* data, unsigned len, TimeNs time,
                  TimeNs previous_frame);
  /// Bytes of the capture were unreadable between these two times.
  void take_damage(TimeNs from, TimeNs to);
  /// A frame came while deaf(): bus-off or a downed link whose end nobody reported is over.
  void take_frame(TimeNs time);
  /// No frame came between these two times: a hole in the statistics as well is the recorder's own.
  void take_gap(TimeNs last_frame, TimeNs time);
  /// Another run of the recorder begins: its counters start anew; unless the one before ended in good order, it was blind
  /// since its last word.
  void take_new_run(TimeNs last_frame, TimeNs time);
  /// A span of a slice begins: what lies before it was left out. Its counters start anew; if frames were `filtered` out,
  /// what the interface received and is not here was lost to nobody.
  void take_left_out(TimeNs time, bool filtered);
  /// Statistics blocks are known to come at this pace.
  void take_pace(SpanNs period);
  /// The end of the capture: open spans end here.
  void finish(TimeNs end);

  bool deaf() const { return bus_off_since_ || down_since_; }
  /// Statistics came at least three times, at a steady pace.
  bool has_pace() const { return blocks_ >= 3 || pace_known_; }
  SpanNs statistics_period() const { return period_; }
  TimeNs last_statistics() const { return last_time_; }
  std::uint64_t blocks() const { return blocks_; }
  TimeNs lost_until() const { return lost_until_; }

  /// Sorted, merged where they touch and have one reason.
  std::vector<BlindSpan> spans() const;
  std::uint64_t spans_over_cap() const { return over_cap_; }

 private:
  void learn_period(SpanNs distance);
  bool is_hole(SpanNs span) const;
  /// Since when nothing was heard of frames, statistics or another reason for silence.
  TimeNs unexplained_from(TimeNs last_frame, TimeNs time) const;
  void add(TimeNs start, TimeNs end, std::optional<std::uint64_t> frames, std::string reason,
           Deafness kind = Deafness::frames_lost);
  void add(TimeNs start, TimeNs end, Deafness kind);

  std::vector<BlindSpan> spans_;
  std::uint64_t over_cap_ = 0;
  std::uint64_t blocks_ = 0;
  std::array<SpanNs, 8> distances_{};  // of the latest blocks, a ring
  std::size_t distances_seen_ = 0;
  SpanNs period_ = 0;  // their median: a block out of turn or a hole does not move it
  TimeNs last_time_ = 0;
  std::uint64_t last_dropped_ = 0;
  std::uint64_t told_lost_ = 0;  // by epb_dropcount since the last block: the counters will tell them again
  std::uint64_t counted_ahead_ = 0;  // by the counters: the next frame's epb_dropcount may tell them again
  std::int64_t deficit_ = 0;         // received - dropped - recorded, as far as it is confirmed
  std::int64_t pending_deficit_ = 0;
  TimeNs pending_from_ = 0;
  bool has_deficit_base_ = false;
  bool pace_known_ = false;  // of an earlier part of the recording
  bool counters_start_anew_ = false, filtered_ = false;
  TimeNs lost_until_ = INT64_MIN;
  std::optional<TimeNs> bus_off_since_;
  std::optional<TimeNs> down_since_;
  LinkState down_state_ = LinkState::down;
  std::optional<TimeNs> part_began_;  // of a slice
};

}  // namespace tramlog
