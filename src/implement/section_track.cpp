#include "implement/section_track.hpp"

#include <algorithm>

namespace tramlog {
namespace {

/// A recorder that lost frames says so in its statistics, once a second: what was found shortly before may be
/// wrong.
constexpr SpanNs kDoubt = 2500 * kMillisecond;
/// Sections that switch within this after the work state, an override or the section control state changed do
/// so because of it.
constexpr SpanNs kSettles = 3 * kSecond;
/// A section that stayed on for so long after "off" may be lifted before it is called stuck; if it comes on
/// again with the boom, it is.
constexpr double kLongOpen_s = 1.0;
constexpr std::size_t kMaxFound = 64;
constexpr std::size_t kMaxFlickerTimes = 64;

void keep(std::vector<Mark>& marks, Mark mark) {
  if (marks.size() < SectionTally::kMarks) marks.push_back(mark);
}

}  // namespace

void DelayTally::add(double seconds, Mark command, double limit_s) {
  ++count_;
  if (seconds >= worst_s_) {
    worst_s_ = seconds;
    worst_at_ = command;
  }
  if (seconds > limit_s && !first_late_) first_late_ = command;
  if (values_.size() < kKept) {
    values_.push_back(static_cast<float>(seconds));
    return;
  }
  // Reservoir sampling; the same recording must give the same figures, so the dice are a hash of the count.
  std::uint64_t dice = count_ * 0x9E3779B97F4A7C15u;
  dice ^= dice >> 29;
  dice = dice * 0xBF58476D1CE4E5B9u >> 11;
  const std::uint64_t slot = dice % count_;
  if (slot < kKept) values_[slot] = static_cast<float>(seconds);
}

bool SectionTrack::opposes() const {
  if (!command_ || !state_ || overridden_) return false;
  if (*state_ != SectionState::on && *state_ != SectionState::off) return false;
  if ((*state_ == SectionState::on) == *command_) return false;
  // With the master off a section stays off, and at standstill many do.
  return !*command_ || (conditions_.master && conditions_.moving);
}

void SectionTrack::commit(SectionTally& tally, const SectionLimits& limits, std::vector<TimeNs>& recent,
                          const Found& one) {
  switch (one.kind) {
    case Kind::on:
      tally.on.add(one.seconds, one.mark, limits.on_delay_s);
      break;
    case Kind::off:
      tally.off.add(one.seconds, one.mark, limits.off_delay_s);
      break;
    case Kind::shared_on:
      tally.shared_on.add(one.seconds, one.mark, limits.on_delay_s);
      tally.ready_on.add(one.ready_s, one.mark, limits.on_delay_s);
      break;
    case Kind::shared_off:
      tally.shared_off.add(one.seconds, one.mark, limits.off_delay_s);
      break;
    case Kind::never_on:
      ++tally.never_on;
      keep(tally.never_on_at, one.mark);
      break;
    case Kind::came_back:
      ++tally.came_back;
      [[fallthrough]];
    case Kind::never_off:
      ++tally.never_off;
      keep(tally.never_off_at, one.mark);
      break;
    case Kind::flicker: {
      ++tally.flickers;
      keep(tally.flickers_at, one.mark);
      if (recent.size() >= kMaxFlickerTimes) recent.erase(recent.begin());
      recent.push_back(one.at);
      const auto window = static_cast<SpanNs>(limits.flicker_window_s * 1e9);
      std::erase_if(recent, [&](TimeNs time) { return span_between(time, one.at) > window; });
      tally.flickers_dense = std::max<std::uint64_t>(tally.flickers_dense, recent.size());
      break;
    }
  }
}

void SectionTrack::found(TimeNs at, Kind kind, double seconds, double ready_s, Mark mark) {
  if (found_.size() >= kMaxFound) {
    commit(tally_, limits_, flicker_times_, found_.front());
    found_.erase(found_.begin());
  }
  found_.push_back({at, kind, seconds, ready_s, mark});
}

void SectionTrack::settle(TimeNs before) {
  std::size_t settled = 0;
  while (settled < found_.size() && found_[settled].at <= before)
    commit(tally_, limits_, flicker_times_, found_[settled++]);
  found_.erase(found_.begin(), found_.begin() + static_cast<std::ptrdiff_t>(settled));
}

void SectionTrack::advance(TimeNs now) {
  if (last_ && now > *last_) {
    const double seconds = to_seconds(span_between(*last_, now));
    if (keeps_series_) {
      if (command_) tally_.commanded_series.add(*last_, *command_ ? 1 : 0, seconds);
      if (state_ == SectionState::on || state_ == SectionState::off)
        tally_.on_series.add(*last_, state_ == SectionState::on ? 1 : 0, seconds);
    }
    if (state_ == SectionState::on) tally_.on_s += seconds;
    if (state_ == SectionState::off) tally_.off_s += seconds;
    if (state_ == SectionState::error) tally_.error_s += seconds;
    if (overridden_) tally_.overridden_s += seconds;
    const bool known = state_ == SectionState::on || state_ == SectionState::off;
    if (overridden_ && command_ && known && (state_ == SectionState::on) != *command_)
      tally_.against_s += seconds;
    if (known && conditions_.told_on == false) tally_.off_work_s += seconds;
    if (outside_since_) outside_run_s_ += seconds;
  }
  if (opposes_since_ && !never_counted_ &&
      to_seconds(span_between(opposes_since_->time, now)) > limits_.never_follows_s) {
    never_counted_ = true;
    found(now, *command_ ? Kind::never_on : Kind::never_off, 0, 0, command_at_);
  }
  last_ = std::max(last_.value_or(now), now);
  settle(later_by(now, -kDoubt));
}

void SectionTrack::close_outside() {
  if (outside_since_ && outside_run_s_ >= limits_.outside_work_s) {
    tally_.outside_s += outside_run_s_;
    tally_.longest_outside_s = std::max(tally_.longest_outside_s, outside_run_s_);
    if (!tally_.outside_at) tally_.outside_at = *outside_since_;
  }
  outside_since_.reset();
  outside_run_s_ = 0;
}

// What follows from the states as they are now.
void SectionTrack::refresh(Mark at) {
  if (!opposes())
    opposes_since_.reset();
  else if (!opposes_since_)
    opposes_since_ = at;
  const bool outside = state_ == SectionState::on && conditions_.told_on == false;
  if (!outside)
    close_outside();
  else if (!outside_since_)
    outside_since_ = at;
}

void SectionTrack::command(bool on, Mark at, bool dated) {
  if (command_ == on) return;  // repeated
  advance(at.time);
  const bool is_dated = command_.has_value() || dated;
  if (pending_) {
    // Superseded. The section may still do what it was told first, so what comes next cannot be assigned.
    muddled_until_ = later_by(at.time, span(limits_.never_follows_s));
    cause_until_ = muddled_until_;
  }
  pending_.reset();
  command_ = on;
  command_at_ = at;
  never_counted_ = false;
  cut_short_ = false;
  opposes_since_.reset();
  ++(on ? tally_.commands_on : tally_.commands_off);
  const auto contrary = on ? SectionState::off : SectionState::on;
  if (state_ == contrary && !overridden_) {
    pending_ = Pending{on, at, is_dated && at.time >= muddled_until_, false, std::nullopt};
    cause_until_ = std::max(cause_until_, later_by(at.time, span(limits_.never_follows_s)));
  }
  refresh(at);
}

void SectionTrack::release(Mark at) {
  advance(at.time);
  command_.reset();
  cut_short_ = false;
  pending_.reset();
  cause_until_ = std::max(cause_until_, later_by(at.time, kSettles));
  refresh(at);
}

void SectionTrack::actual(SectionState state, Mark at) {
  advance(at.time);
  if (state != SectionState::not_installed) ++tally_.told;
  const std::optional<SectionState> before = state_;
  if (state == SectionState::not_installed)
    state_.reset();
  else
    state_ = state;
  if (state_ == before) return;
  const auto switches = [](const std::optional<SectionState>& s) {
    return s == SectionState::on || s == SectionState::off;
  };
  if (state_ == SectionState::error && !tally_.error_at) tally_.error_at = at;
  if (!switches(state_) || !switches(before)) {
    // When it switched is not known.
    pending_.reset();
    free_.reset();
    cause_until_ = std::max(cause_until_, later_by(at.time, kSettles));
    refresh(at);
    return;
  }
  ++tally_.switchings;
  const bool on = state_ == SectionState::on;
  if (pending_ && pending_->on == on) {
    const double seconds = to_seconds(span_between(pending_->at.time, at.time));
    const double ready_s = to_seconds(span_between(pending_->ready.value_or(pending_->at.time), at.time));
    // "Off" that ended with the boom's work state proves nothing about the section.
    if (on || !pending_->shared) ++(on ? tally_.followed_on : tally_.followed_off);
    // What took much longer than "never" is another story: a valve came free, somebody helped.
    if (seconds <= 2 * limits_.never_follows_s) {
      if (pending_->clean)
        found(at.time, on ? Kind::on : Kind::off, seconds, ready_s, pending_->at);
      else if (pending_->shared)
        found(at.time, on ? Kind::shared_on : Kind::shared_off, seconds, ready_s, pending_->at);
    }
    pending_.reset();
    free_.reset();
    cause_until_ = std::max(muddled_until_, at.time);
  } else if (at.time <= cause_until_) {
    free_.reset();
    if (on && cut_short_ && command_ == false && !never_counted_ && !overridden_ && conditions_.master) {
      never_counted_ = true;
      found(at.time, Kind::came_back, 0, 0, command_at_);
    }
  } else if (free_ && to_seconds(span_between(free_->time, at.time)) <= limits_.flicker_s) {
    found(at.time, Kind::flicker, 0, 0, at);
    free_.reset();
  } else {
    free_ = at;
  }
  refresh(at);
}

void SectionTrack::overridden(bool now, Mark at) {
  tally_.override_told = true;
  if (overridden_ == now) return;
  advance(at.time);
  overridden_ = now;
  cut_short_ = false;
  if (now && !tally_.overridden_at) tally_.overridden_at = at;
  pending_.reset();
  cause_until_ = std::max(cause_until_, later_by(at.time, kSettles));
  refresh(at);
}

void SectionTrack::conditions(const Conditions& now, Mark at) {
  if (conditions_ == now) return;
  advance(at.time);
  const bool master_changed = conditions_.master != now.master,
             moving_changed = conditions_.moving != now.moving;
  conditions_ = now;
  if (master_changed) cause_until_ = std::max(cause_until_, later_by(at.time, kSettles));
  if (pending_ && (master_changed || (moving_changed && pending_->on))) {
    const bool dated = pending_->clean || pending_->shared;
    if (!pending_->on && !now.master && dated)
      cut_short_ = to_seconds(span_between(pending_->at.time, at.time)) >= kLongOpen_s;
    pending_->clean = false;
    pending_->shared = dated;
    if (pending_->on && (!now.master || !now.moving))
      pending_.reset();
    else if (pending_->on)
      pending_->ready = at.time;
  }
  refresh(at);
}

void SectionTrack::forget(TimeNs now, bool doubtful) {
  if (doubtful)
    found_.clear();
  else
    advance(now);
  close_outside();
  state_.reset();
  command_.reset();
  cut_short_ = false;
  pending_.reset();
  free_.reset();
  opposes_since_.reset();
  overridden_ = false;
  muddled_until_ = INT64_MIN;
  cause_until_ = later_by(now, kSettles);
  last_ = now;
}

SectionTally SectionTrack::concluded(TimeNs end) const {
  SectionTrack copy = *this;
  copy.advance(end);
  copy.close_outside();
  for (const Found& one : copy.found_) commit(copy.tally_, copy.limits_, copy.flicker_times_, one);
  return std::move(copy.tally_);
}

}  // namespace tramlog
