#include "slice/time_order.hpp"

#include <algorithm>
#include <limits>
#include <utility>

#include "io/lone_stamp.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kFewAlways = 64;  // misplaced blocks that are few in any section
constexpr std::uint64_t kFewOf = 20;    // else one in so many
constexpr SpanNs kPlain = kMinute;      // the end of a recording may stand so far from the rest
constexpr std::size_t kMostHit = 2;     // neighbours whose stamps may be wrong together
constexpr std::size_t kNone = static_cast<std::size_t>(-1);

/// Members of the longest non-decreasing run among times that are `floor` or later.
template <class Items>
std::vector<bool> longest_run(const Items& items, TimeNs floor, std::size_t& length) {
  std::vector<std::size_t> ends;  // [k]: the item that ends the best run of k + 1
  std::vector<std::size_t> before(items.size(), kNone);
  for (std::size_t i = 0; i < items.size(); ++i) {
    if (items[i].time < floor) continue;
    const auto place =
        std::upper_bound(ends.begin(), ends.end(), items[i].time,
                         [&](TimeNs time, std::size_t other) { return time < items[other].time; });
    if (place != ends.begin()) before[i] = *(place - 1);
    if (place == ends.end())
      ends.push_back(i);
    else
      *place = i;
  }
  std::vector<bool> member(items.size(), false);
  length = ends.size();
  for (std::size_t i = ends.empty() ? kNone : ends.back(); i != kNone; i = before[i]) member[i] = true;
  return member;
}

}  // namespace

void TimeOrder::take(Lane lane, std::uint64_t ordinal, TimeNs time) {
  ++blocks_;
  State& state = lanes_[lane];
  state.pending.push_back({ordinal, time});
  if (state.pending.size() >= kWindow) decide(lane, state, kWindow / 2);
}

/// Judges the first `count` of what waits, in the light of all that waits.
void TimeOrder::decide(Lane lane, State& state, std::size_t count) {
  const std::vector<Pending>& items = state.pending;
  constexpr TimeNs kAnyTime = std::numeric_limits<TimeNs>::min();
  std::size_t length = 0;
  std::vector<bool> member = longest_run(items, state.begun ? state.last : kAnyTime, length);
  if (state.begun && 2 * length < items.size()) {
    std::size_t freed = 0;
    std::vector<bool> anew = longest_run(items, kAnyTime, freed);
    // Only if most agree on another order, and not on none at all.
    if (2 * freed > items.size() && items.size() > 2 * kLongestRun) {
      // What comes before the step keeps its order, what comes behind has its own.
      const auto low = static_cast<std::size_t>(std::find(anew.begin(), anew.end(), true) - anew.begin());
      TimeNs before = state.last;
      for (std::size_t i = 0; i < low; ++i)
        if (member[i]) before = items[i].time;
      std::copy(anew.begin() + static_cast<std::ptrdiff_t>(low), anew.end(),
                member.begin() + static_cast<std::ptrdiff_t>(low));
      if (steps_.size() < kMostSteps) steps_.push_back({before, items[low].time});
      stepped_ = true;
    }
  }
  for (std::size_t i = 0; i < count; ++i) {
    if (!member[i]) {
      if (state.run.size() <= kLongestRun || !over_cap_)
        state.run.push_back({items[i].ordinal, items[i].time, lane, false, std::nullopt});
      if (state.run.size() + misplaced_.size() > kMostMisplaced) over_cap_ = true;
      continue;
    }
    end_run(state, kLongestRun, items[i].time);
    if (!std::exchange(state.begun, true)) {
      state.first = items[i].time;
      state.first_ordinal = items[i].ordinal;
    } else if (!state.second) {
      state.second = items[i];
    }
    state.end_before = std::exchange(state.end, items[i]);
    state.first = std::min(state.first, items[i].time);
    state.last = items[i].time;
  }
  state.pending.erase(state.pending.begin(), state.pending.begin() + static_cast<std::ptrdiff_t>(count));
}

/// Neighbours out of place are not any more: so many of them may move.
void TimeOrder::end_run(State& state, std::size_t may_move, std::optional<TimeNs> next) {
  const bool few = state.run.size() <= may_move;
  if (!few && state.run.size() > kLongestRun) {
    note_step(state,
              next);  // so many neighbours have their order among themselves, from a clock that was put
    state.run.clear();
    return;
  }
  for (Misplaced& one : state.run) {
    if (misplaced_.size() >= kMostMisplaced) break;
    one.moves = few;
    // What lies beyond the lane's times is put right at the end, when these are known.
    const auto before = state.begun ? std::optional(state.last) : std::nullopt;
    if (few && state.run.size() <= kMostHit) one.instead = anew(one.time, before, next);
    misplaced_.push_back(one);
  }
  state.run.clear();
}

/// The longest way back from one block to the next, in and around a run out of place.
void TimeOrder::note_step(const State& state, std::optional<TimeNs> next) {
  StepBack step;
  TimeNs before = state.begun ? state.last : state.run.front().time;
  const auto see = [&](TimeNs time) {
    if (before > time && span_between(time, before) > span_between(step.after, step.before))
      step = {before, time};
    before = time;
  };
  for (const Misplaced& one : state.run) see(one.time);
  if (next) see(*next);
  if (step.before <= step.after) return;
  stepped_ = true;
  if (steps_.size() < kMostSteps) steps_.push_back(step);
}

std::optional<TimeNs> TimeOrder::anew(TimeNs time, std::optional<TimeNs> before,
                                      std::optional<TimeNs> behind) {
  if (!before && !behind) return std::nullopt;
  if ((before && !is_far_off(time, *before)) || (behind && !is_far_off(time, *behind))) return std::nullopt;
  const TimeNs low = before ? *before : *behind - kFarOff, high = behind ? *behind : *before + kFarOff;
  return one_bit_between(time, low, high).value_or(before ? *before : *behind);
}

void TimeOrder::judge_ends(Lane lane, State& state) {
  const auto thrown_out = [](TimeNs time, TimeNs neighbour) {
    const bool far = time > neighbour + kPlain || time < neighbour - kPlain;
    return far ? one_bit_between(time, neighbour - kFarOff, neighbour + kFarOff) : std::nullopt;
  };
  if (state.end && state.end_before)
    if (const auto instead = thrown_out(state.end->time, state.end_before->time)) {
      misplaced_.push_back({state.end->ordinal, state.end->time, lane, false, instead});
      state.last = state.end_before->time;
    }
  if (state.second && state.second->time <= state.last)
    if (const auto instead = thrown_out(state.first, state.second->time)) {
      misplaced_.push_back({state.first_ordinal, state.first, lane, false, instead});
      state.first = state.second->time;
    }
}

TimeOrder::Verdict TimeOrder::finish() {
  for (auto& [lane, state] : lanes_) {
    decide(lane, state, state.pending.size());
    // Nothing behind them confirms that the clock did not step.
    end_run(state, 1, std::nullopt);
    if (misplaced_.size() + 2 <= kMostMisplaced) judge_ends(lane, state);
  }
  Verdict verdict;
  const std::uint64_t few = std::max<std::uint64_t>(kFewAlways, blocks_ / kFewOf);
  verdict.crowded = over_cap_ || misplaced_.size() > few;
  for (Misplaced& one : misplaced_) {
    const State& state = lanes_[one.lane];
    const bool fits = state.begun && one.time >= state.first - kBeyond && one.time <= state.last + kBeyond;
    // Where the time may be right and the place wrong, only a time that is one bit off is believed to be
    // wrong.
    const bool one_bit = one.instead && one_bit_between(one.time, *one.instead, *one.instead);
    if (verdict.crowded || (fits && !one_bit)) one.instead.reset();
    one.moves = one.moves && fits && !one.instead && !stepped_ && !verdict.crowded;
  }
  std::sort(misplaced_.begin(), misplaced_.end(),
            [](const Misplaced& a, const Misplaced& b) { return a.ordinal < b.ordinal; });
  verdict.misplaced = std::exchange(misplaced_, {});
  verdict.steps = std::exchange(steps_, {});
  lanes_.clear();
  blocks_ = 0;
  stepped_ = over_cap_ = false;
  return verdict;
}

}  // namespace tramlog
