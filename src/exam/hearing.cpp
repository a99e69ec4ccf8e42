#include "exam/hearing.hpp"

#include <algorithm>

#include "can/error_frame.hpp"

namespace tramlog {
namespace {
constexpr const char* kDropped = "frames dropped by the kernel or the interface";
// A hole in the statistics is one from this many of their own periods on.
constexpr double kHolePeriods = 2.5;
constexpr std::size_t kEnoughDistances = 4;
// Frames that were queued when the interface went deaf may still be written.
constexpr SpanNs kQueued = kSecond;

const char* deafness_words(Deafness kind) {
  switch (kind) {
    case Deafness::frames_lost: return kDropped;
    case Deafness::stood_still: return "the recorder stood still: no statistics blocks";
    case Deafness::cut_off: return "the recorder was cut off, or not running";
    case Deafness::bus_off: return "the recorder's interface was bus-off";
    case Deafness::interface_down: return "the interface was down";
    case Deafness::paused: return "recording was paused";
    case Deafness::damaged: return "the capture is damaged here";
    case Deafness::left_out: return "left out of this slice";
  }
  return "";
}

Deafness deafness_of(LinkState state) {
  return state == LinkState::paused ? Deafness::paused : Deafness::interface_down;
}

}  // namespace

void Hearing::add(TimeNs start, TimeNs end, Deafness kind) {
  add(start, end, std::nullopt, deafness_words(kind), kind);
}

void Hearing::add(TimeNs start, TimeNs end, std::optional<std::uint64_t> frames, std::string reason, Deafness kind) {
  if (end < start) end = start;
  lost_until_ = std::max(lost_until_, end);
  // Many small losses in a row are one span: adaptors lose in bursts, and memory is bounded.
  if (!spans_.empty()) {
    BlindSpan& last = spans_.back();
    if (last.reason == reason && start - last.end <= kSecond && start >= last.start) {
      last.end = std::max(last.end, end);
      if (frames) last.frames_lost = last.frames_lost.value_or(0) + *frames;
      return;
    }
  }
  if (spans_.size() >= kMaxSpans) {
    ++over_cap_;
    spans_.back().end = std::max(spans_.back().end, end);
    if (frames) spans_.back().frames_lost = spans_.back().frames_lost.value_or(0) + *frames;
    return;
  }
  spans_.push_back({start, end, frames, std::move(reason), kind});
}

void Hearing::take_counters(const Counters& counters, TimeNs time, std::uint64_t recorded,
                            TimeNs last_frame) {
  const std::uint64_t dropped = counters.interface_dropped.value_or(0) + counters.system_dropped.value_or(0);
  ++blocks_;
  if (blocks_ == 1 || counters_start_anew_) {
    counters_start_anew_ = false;
    last_time_ = time;
    last_dropped_ = dropped;
    told_lost_ = 0;
  } else {
    const SpanNs distance = time - last_time_;
    if ((blocks_ > 3 || pace_known_) && is_hole(distance) && !down_since_) {
      // Frames right behind the last block were still recorded: blind from the later of the two.
      const TimeNs from = unexplained_from(last_frame < time ? last_frame : last_time_, time);
      if (is_hole(time - from)) add(from, time, Deafness::stood_still);
    }
    learn_period(distance);
    if (dropped > last_dropped_) {
      const std::uint64_t lost = dropped - last_dropped_;
      // The packets' own drop counts already told part of it, and more exactly when.
      if (lost > told_lost_) {
        add(last_time_, time, lost - told_lost_, kDropped);
        counted_ahead_ += lost - told_lost_;
      }
    }
    last_dropped_ = dropped;
    told_lost_ = 0;
  }

  if (counters.received && !filtered_) {
    // What the interface received, did not drop, and yet is not in the capture. A frame or two may be on
    // their way when the block is written, so only what is still missing one block later counts.
    const auto deficit = static_cast<std::int64_t>(*counters.received) - static_cast<std::int64_t>(dropped) -
                         static_cast<std::int64_t>(recorded);
    if (!has_deficit_base_) {
      // A capture may begin in the middle of the interface's life.
      has_deficit_base_ = true;
      deficit_ = deficit;
      pending_deficit_ = deficit;
    } else {
      const std::int64_t confirmed = std::min(deficit, pending_deficit_);
      if (confirmed > deficit_) {
        add(pending_from_, last_time_, static_cast<std::uint64_t>(confirmed - deficit_),
            "frames received by the interface but not recorded");
        deficit_ = confirmed;
      }
      // Interface counters that start again (unplugged, restarted) are a new base, not a gain.
      if (deficit < deficit_) deficit_ = deficit;
      pending_deficit_ = deficit;
    }
    pending_from_ = last_time_;
  }
  last_time_ = time;
}

void Hearing::learn_period(SpanNs distance) {
  if (distance <= 0) return;
  distances_[distances_seen_++ % distances_.size()] = distance;
  auto sorted = distances_;
  const std::size_t count = std::min(distances_seen_, sorted.size());
  std::sort(sorted.begin(), sorted.begin() + static_cast<std::ptrdiff_t>(count));
  // One distance of a few may be a hole; a pace that is known is better.
  if (!pace_known_ || count >= kEnoughDistances) period_ = sorted[count / 2];
}

TimeNs Hearing::unexplained_from(TimeNs last_frame, TimeNs time) const {
  const TimeNs from = std::max(last_frame, last_time_);
  return lost_until_ <= time ? std::max(from, lost_until_) : from;
}

bool Hearing::is_hole(SpanNs span) const {
  return static_cast<double>(span) > kHolePeriods * static_cast<double>(period_);
}

void Hearing::take_gap(TimeNs last_frame, TimeNs time) {
  if (!has_pace() || down_since_) return;
  // Statistics that had ended while frames still came say nothing.
  if (last_frame > last_time_ && is_hole(last_frame - last_time_)) return;
  const TimeNs from = unexplained_from(last_frame, time);
  if (is_hole(time - from)) add(from, time, Deafness::stood_still);
}

void Hearing::take_frame(TimeNs time) {
  if (bus_off_since_ && time - *bus_off_since_ > kQueued) {
    add(*bus_off_since_, time, Deafness::bus_off);
    bus_off_since_.reset();
  }
  if (down_since_ && time - *down_since_ > kQueued) take_link(LinkState::up, time);
}

void Hearing::take_link(LinkState state, TimeNs time) {
  if (state == LinkState::up) {
    if (down_since_) add(*down_since_, time, deafness_of(down_state_));
    down_since_.reset();
  } else if (!down_since_) {
    down_since_ = time;
    down_state_ = state;
  }
}

void Hearing::take_loss(std::uint64_t frames, TimeNs from, TimeNs to) {
  if (frames == 0) return;
  // Counters that ran ahead of the first frame after the loss have told these already.
  const std::uint64_t known = std::min(frames, counted_ahead_);
  counted_ahead_ -= known;
  frames -= known;
  told_lost_ += frames;
  // Each tells when it was in its own way; the frame that comes first after the loss ends it.
  if (known > 0 && !spans_.empty() && spans_.back().reason == kDropped && from <= spans_.back().end &&
      to >= spans_.back().start) {
    BlindSpan& told = spans_.back();
    told.start = std::min(told.start, from);
    told.end = std::max(told.end, to);
    told.frames_lost = told.frames_lost.value_or(0) + frames;
    lost_until_ = std::max(lost_until_, told.end);
    return;
  }
  if (frames > 0) add(from, to, frames, kDropped);
}

void Hearing::take_error(std::uint32_t mask, const std::uint8_t* data, unsigned len, TimeNs time,
                         TimeNs previous_frame) {
  if (mask & error_frame::kBusOff && !bus_off_since_) bus_off_since_ = time;
  const bool active_again = (mask & error_frame::kController) && len > 1 && (data[1] & error_frame::kActiveAgain);
  if (bus_off_since_ && ((mask & error_frame::kRestarted) || active_again)) {
    add(*bus_off_since_, time, Deafness::bus_off);
    bus_off_since_.reset();
  }
  if ((mask & error_frame::kController) && len > 1 && (data[1] & error_frame::kReceiveOverflow))
    add(previous_frame, time, std::nullopt, "the interface's receive buffer overflowed");
}

void Hearing::take_damage(TimeNs from, TimeNs to) {
  add(from, to, Deafness::damaged);
}

void Hearing::take_new_run(TimeNs last_frame, TimeNs time) {
  // Heard nothing in the run before, or told that it stopped: nothing to add.
  if (!down_since_ && (blocks_ > 0 || last_frame > 0 || part_began_))
    add(std::max(unexplained_from(last_frame, time), part_began_.value_or(INT64_MIN)), time, Deafness::cut_off);
  last_time_ = time;
  last_dropped_ = 0;
  told_lost_ = 0;
  counted_ahead_ = 0;
  has_deficit_base_ = false;
}

void Hearing::take_left_out(TimeNs time, bool filtered) {
  filtered_ = filtered;
  part_began_ = time;
  if (down_since_) add(*down_since_, time, Deafness::left_out);
  down_since_.reset();
  bus_off_since_.reset();
  told_lost_ = 0;
  counted_ahead_ = 0;
  has_deficit_base_ = false;
  counters_start_anew_ = true;
}

void Hearing::take_pace(SpanNs period) {
  if (period <= 0 || blocks_ > 0) return;
  period_ = period;
  pace_known_ = true;
}

void Hearing::finish(TimeNs end) {
  if (bus_off_since_) add(*bus_off_since_, end, Deafness::bus_off);
  // A recording that ends with its last word was not blind after it.
  if (down_since_ && *down_since_ < end) add(*down_since_, end, deafness_of(down_state_));
  bus_off_since_.reset();
  down_since_.reset();
}

std::vector<BlindSpan> Hearing::spans() const {
  std::vector<BlindSpan> sorted = spans_;
  std::stable_sort(sorted.begin(), sorted.end(),
                   [](const BlindSpan& a, const BlindSpan& b) { return a.start < b.start; });
  return sorted;
}

}  // namespace tramlog
