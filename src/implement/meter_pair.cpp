#include "implement/meter_pair.hpp"

#include <algorithm>
#include <cmath>

#include "implement/meter_step.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kMaxRecent = 160;
constexpr double kRecent_s = 12;  // of samples before a step
constexpr double kBefore_s = 3;   // the rate before a step is the mean over this
constexpr double kRippleOver_s = 10;
constexpr double kWorkBefore_s = 2;    // a step needs so much work before it
constexpr double kSameRate = 0.005;    // set rates nearer than this are one: rounded when told back
constexpr double kNothing = 0.01;      // of the set rate or range: no flow
constexpr double kTrim_s = 0.5;        // before a stop: its message may come later than the rate falls
constexpr double kSpeedChange = 0.20;  // rates per area follow the speed late
constexpr double kLeastSettle_s = 4;   // after a start or a disturbance
constexpr double kShortestSettled_s = 3;
constexpr double kHoldOnChange_s = 60;
constexpr double kLongestGap_s = 60;
constexpr double kDrawn_s = 0.25;        // so often pictures are brought up to date
constexpr double kLongestDrawn_s = 2.5;  // a longer pause is none of the usual calls
constexpr double kResolved = 5;     // a step is at least so many of the smallest changes that are told
constexpr double kIrregular = 2.2;  // long gaps against short ones: it does not send by time
constexpr double kNear = 0.02;      // of the declared limit

bool nearly_same(std::optional<std::int64_t> a, std::optional<std::int64_t> b) {
  if (!a || !b) return a.has_value() == b.has_value();
  if ((*a == 0) != (*b == 0)) return false;
  const double x = static_cast<double>(*a), y = static_cast<double>(*b);
  return std::abs(x - y) <= kSameRate * std::max(std::abs(x), std::abs(y));
}

std::span<const RateSample> from_time(const RateTrace& trace, double t_s) {
  const auto first = std::lower_bound(trace.begin(), trace.end(), t_s,
                                      [](const RateSample& sample, double t) { return sample.t_s < t; });
  return {trace.data() + (first - trace.begin()), static_cast<std::size_t>(trace.end() - first)};
}

}  // namespace

MeterPair::MeterPair(const Device& device, const QuantityFamily& family, std::uint16_t element)
    : device_(device) {
  tally_.family = &family;
  tally_.element = element;
}

double MeterPair::seconds(TimeNs at) const {
  return static_cast<double>(span_between(epoch_, at)) * 1e-9;
}

Sampling MeterPair::sampling() const {
  Sampling result;
  // Where values come by time too, silence is no value.
  result.on_change = tally_.on_change && !interval_s_;
  result.resolution = resolution();
  if (interval_s_)
    result.gap_s = *interval_s_;
  else
    result.gap_s = tally_.on_change ? gap_20_s_ : gap_50_s_;
  return result;
}

void MeterPair::set_limits(std::optional<std::int64_t> minimum, std::optional<std::int64_t> maximum) {
  tally_.minimum_raw = minimum;
  tally_.maximum_raw = maximum;
}

void MeterPair::set_source(std::optional<std::uint16_t> element, bool ambiguous) {
  tally_.set_element = element;
  tally_.set_ambiguous = ambiguous;
}

void MeterPair::sending(std::optional<double> interval_s, std::optional<double> change_raw) {
  interval_s_ = interval_s;
  change_raw_ = change_raw;
}

// A device that only sends on change hides smaller ones.
double MeterPair::resolution() const {
  if (!tally_.on_change || interval_s_) return 0;
  return change_raw_ ? *change_raw_ : jumps_.quantile(0.5);
}

double MeterPair::allowance_s() const {
  return std::max(kLeastSettle_s, 1.2 * settle_times_.quantile(0.9));
}

bool MeterPair::beyond_limit(double set, double actual) const {
  if (told_at_limit_ && std::abs(set - actual) > kNear * std::abs(set)) return true;
  if (tally_.maximum_raw && *tally_.maximum_raw > 0) {
    const double most = static_cast<double>(*tally_.maximum_raw);
    if (set > most * (1 + kSameRate) && actual >= most * (1 - kNear)) return true;
  }
  if (tally_.minimum_raw && *tally_.minimum_raw > 0 && set > 0) {
    const double least = static_cast<double>(*tally_.minimum_raw);
    if (set < least * (1 - kSameRate) && actual <= least * (1 + kNear) && actual > 0.5 * least) return true;
  }
  return false;
}

void MeterPair::begin_stretch(Begin begin, Mark at, std::optional<std::int64_t> from) {
  Stretch next;
  next.begin = begin;
  next.at = at;
  next.t_s = seconds(at.time);
  next.to = set_.raw;
  next.from = from;
  next.speed = speed_;
  if (begin != Begin::continued) changed_s_ = next.t_s;
  if (begin == Begin::step && from && set_.raw && last_ && !recent_.empty()) {
    const double change = static_cast<double>(*set_.raw) - static_cast<double>(*from);
    const double size =
        std::max(std::abs(static_cast<double>(*set_.raw)), std::abs(static_cast<double>(*from)));
    next.before = last_->rate;
    const auto settled = from_time(recent_, std::max(next.t_s - kRippleOver_s, settled_since_s_));
    const auto latest = from_time(recent_, std::max(next.t_s - kBefore_s, settled_since_s_));
    next.ripple = settled.size() >= 3 ? half_range(settled) : 2.5 * noise_;
    if (!latest.empty()) {
      double sum = 0;
      for (const RateSample& sample : latest) sum += sample.rate;
      // A swinging rate has no mean that the answer starts from.
      if (next.ripple < 0.1 * std::abs(change)) next.before = sum / static_cast<double>(latest.size());
    }
    const double to = static_cast<double>(*set_.raw);
    const bool spacing_stop = tally_.family->per == RatePer::spacing && (*from == 0 || *set_.raw == 0);
    next.measurable =
        working_.value_or(false) && next.t_s - working_since_s_ >= kWorkBefore_s && !spacing_stop &&
        std::abs(change) >= device_.limits["meter.smallest_step_pct"] / 100 * size &&
        std::abs(change) >= kResolved * resolution() && std::abs(next.before - to) > 0.25 * std::abs(change);
  }
  stretch_ = std::move(next);
}

void MeterPair::measure_step_of(const Stretch& stretch, double until_s, double& settled_from_s,
                                bool& counts) {
  MeasuredStep step;
  const double set_change = static_cast<double>(*stretch.to) - static_cast<double>(*stretch.from);
  const StepAnswer answer =
      measure_step({stretch.samples, stretch.t_s, until_s, stretch.before, stretch.ripple,
                    static_cast<double>(*stretch.to), set_change, sampling()});
  step.record.at = stretch.at;
  step.record.from_raw = *stretch.from;
  step.record.to_raw = *stretch.to;
  step.record.answered = answer.answered;
  step.record.complete = answer.complete;
  step.record.dead_time_s = answer.dead_time_s;
  step.record.rise_time_s = answer.rise_time_s;
  step.record.overshoot_pct = answer.overshoot_pct;
  step.record.settled_raw = answer.settled;
  step.before_raw = stretch.before;
  step.watched_s = answer.watched_s;
  step.dead_doubt_s = answer.dead_doubt_s;
  step.rise_doubt_s = answer.rise_doubt_s;
  step.overshoot_doubt_pct = answer.overshoot_doubt_pct;
  step.unsteady = answer.unsteady;
  step.from_swings = stretch.ripple > 0.12 * std::abs(set_change);
  step.judged = !answer.unclear && !set_.manual && *stretch.to != 0 &&
                !beyond_limit(static_cast<double>(*stretch.to), stretch.before);
  if (answer.complete) {
    settled_from_s = stretch.t_s + answer.settled_from_s;
    settle_times_.add(answer.dead_time_s.value_or(0) + 2 * answer.rise_time_s.value_or(0));
  } else {
    settled_from_s = stretch.t_s + allowance_s();
    counts = answer.unsteady && answer.answered;
  }
  if (tally_.steps.size() < MeterTally::kMaxSteps)
    tally_.steps.push_back(std::move(step));
  else
    ++tally_.steps_not_listed;
}

void MeterPair::measure_settled(const Stretch& stretch, double from_s, double until_s, bool counts) {
  const double length = until_s - from_s;
  if (!stretch.to || *stretch.to == 0 || length < kShortestSettled_s) return;
  auto first = std::lower_bound(stretch.samples.begin(), stretch.samples.end(), from_s,
                                [](const RateSample& s, double t) { return s.t_s < t; });
  const auto last = std::upper_bound(first, stretch.samples.end(), until_s,
                                     [](double t, const RateSample& s) { return t < s.t_s; });
  const std::span<const RateSample> seen(stretch.samples.data() + (first - stretch.samples.begin()),
                                         static_cast<std::size_t>(last - first));
  const Sampling sampled = sampling();
  if (seen.size() < 4 && !(sampled.on_change && last_)) return;
  const double set = static_cast<double>(*stretch.to);
  RateTrace line = drawn_line(
      {stretch.samples.data(), static_cast<std::size_t>(last - stretch.samples.begin())}, sampled, until_s);
  if (line.empty() || line.back().t_s < from_s + kShortestSettled_s) return;
  const double end = std::min(until_s, line.back().t_s);
  double start = from_s;
  double mean = mean_between(line, start, end);

  const auto share = device_.limits["meter.hunting_pct"] / 100;
  const PeriodRange periods{std::max(0.2, device_.limits["meter.hunting_period_min_s"]),
                            device_.limits["meter.hunting_period_max_s"]};
  bool swings = false;
  // A meter that stands still or stopped cannot hunt.
  if (tally_.family->is_rate() && seen.size() >= 8) {
    if (const auto found = find_oscillation(seen, share * std::abs(set), periods)) {
      double speed_sum = 0;
      for (const RateSample& sample : seen) speed_sum += sample.speed_mm_s;
      const double part = found->amplitude / std::max(1.0, std::abs(found->mean));
      const double least = std::max(20.0, 0.3 * part * speed_sum / static_cast<double>(seen.size()));
      const auto of_speed =
          std::isfinite(least) ? find_speed_oscillation(seen, least, periods) : std::nullopt;
      swings = true;
      if (of_speed && of_speed->period_s < 1.3 * found->period_s &&
          of_speed->period_s > found->period_s / 1.3) {
        tally_.speed_swings_s += end - start;
      } else {
        if (!tally_.hunting_since) tally_.hunting_since = stretch.at;
        tally_.hunting.add(*found, found->amplitude / std::abs(set));
        tally_.hunting.add_stretch(seen, set);
      }
      if (found->cycles >= 1) mean = found->mean;
    } else if (counts) {
      tally_.hunting.add_stretch(seen, set);
    }
    tally_.hunting_watched_s += end - start;
    tally_.longest_watched_s = std::max(tally_.longest_watched_s, end - start);
  }
  const double noise = noise_of(seen);
  if (!swings) {
    const double middle = (start + end) / 2;
    const double drift = mean_between(line, middle, end) - mean_between(line, start, middle);
    const double doubt = 3 * noise * 2 / std::sqrt(std::max(4.0, static_cast<double>(seen.size())));
    if (std::abs(drift) > std::max(0.01 * std::abs(mean), doubt)) {
      if (end - middle < kShortestSettled_s) return;
      start = middle;  // the first half still belonged to what came before
      mean = mean_between(line, start, end);
    }
    noise_ = noise;
  }
  settled_since_s_ = start;
  if (tally_.settled.size() >= MeterTally::kMaxStretches) return;
  SettledStretch settled;
  settled.start = stretch.at;
  settled.length_s = end - start;
  settled.set_raw = *stretch.to;
  settled.mean_raw = mean;
  // Part of a slow swing has no settled mean.
  const bool still = swings || half_range(seen) <= 0.03 * std::abs(set) + 4 * noise;
  settled.delivers = still && !set_.manual && std::abs(mean) > kNothing * std::abs(set);
  settled.counts = counts && settled.delivers && !beyond_limit(set, mean);
  tally_.settled.push_back(settled);
}

void MeterPair::end_stretch(double until_s, bool machine_changed) {
  settled_since_s_ = std::numeric_limits<double>::infinity();
  if (!stretch_) return;
  Stretch stretch = std::move(*stretch_);
  stretch_.reset();
  if (machine_changed) {
    until_s -= kTrim_s;
    while (!stretch.samples.empty() && stretch.samples.back().t_s > until_s) stretch.samples.pop_back();
  }
  if (until_s <= stretch.t_s) return;
  double settled_from_s = stretch.t_s + allowance_s();
  if (stretch.begin == Begin::continued) settled_from_s = stretch.t_s + stretch.settle_s;
  bool counts = true;
  if (stretch.measurable) measure_step_of(stretch, until_s, settled_from_s, counts);
  measure_settled(stretch, settled_from_s, until_s, counts);
  still_counts_ = counts;
}

void MeterPair::set_rate(const SetRate& rate, bool step) {
  if (rate.raw) {
    tally_.last_set_raw = rate.raw;
    tally_.greatest_set_raw = std::max(tally_.greatest_set_raw.value_or(*rate.raw), *rate.raw);
    if (rate.manual) tally_.manual = true;
  }
  if (!has_epoch_) epoch_ = rate.at.time, has_epoch_ = true;
  account(seconds(rate.at.time));
  const std::optional<std::int64_t> from = set_.raw;
  if (nearly_same(from, rate.raw)) {
    set_.manual = rate.manual;
    set_.fresh = rate.fresh;
    return;
  }
  end_stretch(seconds(rate.at.time), false);
  if (!from && rate.raw && step) {
    tally_.no_set_rate.add(before_first_set_);
    before_first_set_ = {};
  }
  set_ = rate;
  if (!from || *from == 0) flowed_ = false;
  changed_s_ = seconds(rate.at.time);
  rate_at_change_ = last_ ? last_->rate : 0;
  if (working_.value_or(false)) begin_stretch(step && from ? Begin::step : Begin::disturbed, rate.at, from);
}

void MeterPair::note_gap(double gap_s) {
  gaps_.add(gap_s);
  if (++gap_count_ > 32 && gap_count_ % 16 != 0) return;
  gap_20_s_ = gaps_.quantile(0.2);
  gap_50_s_ = gaps_.quantile(0.5);
  gap_90_s_ = gaps_.quantile(0.9);
}

// A flow that stops, or comes back, is no answer to anything.
void MeterPair::note_stop(Mark at) {
  const double set = set_.raw ? static_cast<double>(*set_.raw) : 0;
  if (!tally_.family->is_rate() || set == 0) return;
  const bool flows = std::abs(last_->rate) > kNothing * std::abs(set);
  if (flows == !stopped_ || (!flows && !flowed_)) return;
  stopped_ = !flows;
  disturb(at);
}

void MeterPair::sample(Mark at, std::int64_t raw) {
  if (!has_epoch_) epoch_ = at.time, has_epoch_ = true;
  const double t = seconds(at.time);
  account(t);
  ++tally_.actual_count;
  tally_.last_actual_raw = raw;
  if (last_ && t < last_->t_s) drop(at);
  if (last_ && t - last_->t_s > 0 && t - last_->t_s < kLongestGap_s) note_gap(t - last_->t_s);
  const bool irregular = !interval_s_ && gap_count_ >= 8 && gap_90_s_ > kIrregular * gap_20_s_;
  tally_.on_change = change_raw_.has_value() || irregular;
  if (last_) jumps_.add(std::abs(static_cast<double>(raw) - last_->rate));
  last_ = RateSample{t, static_cast<double>(raw), speed_};
  last_at_ = at;
  if (!working_.value_or(false)) return;
  note_stop(at);
  if (recent_.size() >= kMaxRecent || (!recent_.empty() && recent_.front().t_s < t - 2 * kRecent_s)) {
    std::erase_if(recent_, [&](const RateSample& sample) { return sample.t_s < t - kRecent_s; });
    if (recent_.size() >= kMaxRecent) recent_.erase(recent_.begin(), recent_.begin() + kMaxRecent / 2);
  }
  recent_.push_back(*last_);
  if (!stretch_) return;
  if (t - stretch_->t_s > kBlock_s) {
    end_stretch(t, false);
    const bool counts = still_counts_;
    begin_stretch(Begin::continued, at, set_.raw);
    stretch_->settle_s = counts ? 0 : kBlock_s * 2;
  }
  RateTrace& samples = stretch_->samples;
  if (samples.size() >= kMaxSamples) {
    std::size_t kept = 0;
    for (std::size_t i = 0; i < samples.size(); i += 2) samples[kept++] = samples[i];
    samples.resize(kept);
  }
  samples.push_back(*last_);
}

void MeterPair::work(std::optional<bool> working, Mark now) {
  if (!has_epoch_) epoch_ = now.time, has_epoch_ = true;
  account(seconds(now.time));
  if (working) tally_.work_known = true;
  const bool before = working_.value_or(false), after = working.value_or(false);
  working_ = working;
  if (before == after) return;
  if (after) {
    tally_.worked = true;
    working_since_s_ = seconds(now.time);
    flowed_ = stopped_ = false;
    rate_at_change_ = 0;
    recent_.clear();
    begin_stretch(Begin::work, now, set_.raw);
  } else {
    end_stretch(seconds(now.time), true);
    recent_.clear();
  }
}

void MeterPair::speed(double mm_s, Mark now) {
  speed_ = mm_s;
  if (!stretch_ || !std::isfinite(mm_s)) return;
  if (!std::isfinite(stretch_->speed)) {
    stretch_->speed = mm_s;
    return;
  }
  if (std::abs(mm_s - stretch_->speed) > kSpeedChange * stretch_->speed) disturb(now);
}

void MeterPair::disturb(Mark now) {
  if (!stretch_) return;
  account(seconds(now.time));
  end_stretch(seconds(now.time), true);
  begin_stretch(Begin::disturbed, now, set_.raw);
}

void MeterPair::drop(Mark now) {
  if (!has_epoch_) return;
  stretch_.reset();
  settled_since_s_ = std::numeric_limits<double>::infinity();
  recent_.clear();
  last_.reset();
  accounted_s_ = seconds(now.time);
  for (Episodes* episodes : {&tally_.no_set_rate, &tally_.at_limit, &tally_.flow_stopped})
    episodes->interrupt();
  if (!working_.value_or(false)) return;
  working_since_s_ = seconds(now.time);
  flowed_ = stopped_ = false;
  begin_stretch(Begin::disturbed, now, set_.raw);
}

void MeterPair::time(TimeNs now) {
  if (has_epoch_) account(seconds(now));
  if (keeps_series_) draw(now);
}

double MeterPair::usual_gap_s() const {
  const double gap = sampling().gap_s;
  return gap > 0 ? gap : 1.0;
}

/// For so long the last delivered value stands.
double MeterPair::hold_s() const {
  return sampling().on_change ? kHoldOnChange_s : std::max(2 * usual_gap_s(), 1.0);
}

void MeterPair::draw(TimeNs now) {
  const double span = drawn_ ? to_seconds(span_between(*drawn_, now)) : 0;
  if (drawn_ && span >= 0 && span < kDrawn_s) return;
  // Over a longer pause nothing is known.
  if (span > 0 && span <= kLongestDrawn_s) {
    if (set_.raw) tally_.set_series.add(*drawn_, static_cast<double>(*set_.raw), span);
    if (last_ && seconds(now) - last_->t_s <= hold_s()) tally_.actual_series.add(*drawn_, last_->rate, span);
  }
  drawn_ = now;
}

void MeterPair::account(double now_s) {
  const double from = accounted_s_;
  accounted_s_ = now_s;
  Episodes& no_set = tally_.no_set_rate;
  Episodes& limit = tally_.at_limit;
  Episodes& stopped = tally_.flow_stopped;
  if (!working_.value_or(false)) {
    no_set.interrupt(), limit.interrupt(), stopped.interrupt(), before_first_set_.interrupt();
    return;
  }
  if (!last_) return;
  const double span = std::min(now_s, last_->t_s + hold_s()) - std::max(from, last_->t_s);
  if (!(span > 0)) return;
  const SeedingLimits& limits = device_.limits;
  const double actual = last_->rate;
  const double set = set_.raw ? static_cast<double>(*set_.raw) : 0;
  const double since = now_s - changed_s_;
  const double answer_s = limits["meter.dead_time_s"] + limits["meter.rise_time_s"];
  const double range = static_cast<double>(tally_.maximum_raw.value_or(tally_.greatest_set_raw.value_or(0)));
  const double nothing = kNothing * std::abs(set != 0 ? set : range);
  const bool flows = std::abs(actual) > nothing;
  if (flows) flowed_ = true;
  if (flows) tally_.delivering_s += span;
  if (set_.raw) {
    tally_.checked_set_s += span;
    // It may run down for as long as an answer may take, but it has to begin.
    const bool runs_on = since > answer_s || std::abs(actual) > 0.5 * std::abs(rate_at_change_);
    no_set.note(set == 0 && flows && runs_on && since > limits["meter.dead_time_s"], span,
                limits["meter.no_set_rate_s"], last_at_);
  } else if (set_.fresh) {
    // Without any set rate; whether there ought to be one is known when one comes.
    before_first_set_.note(std::abs(actual) > 0, span, limits["meter.no_set_rate_s"], last_at_);
  }
  if (!set_.raw || set == 0) {
    limit.interrupt(), stopped.interrupt();
    return;
  }
  tally_.working_s += span;
  const bool outside = std::abs(actual - set) > limits["meter.tolerance_pct"] / 100 * std::abs(set);
  if (outside) tally_.outside_s += span;
  if (since > answer_s) {
    tally_.steady_s += span;
    if (outside) tally_.steady_outside_s += span;
  }
  limit.note(beyond_limit(set, actual), span, limits["meter.at_limit_s"], last_at_);
  const bool may_flow = flowed_ || since > limits["meter.dead_time_s"] + usual_gap_s();
  stopped.note(!flows && may_flow, span, limits["meter.flow_stopped_s"], last_at_);
}

MeterTally MeterPair::concluded(TimeNs end) const {
  MeterPair last = *this;
  if (last.has_epoch_) {
    last.time(end);
    last.end_stretch(last.seconds(end), false);
  }
  if (!last.gaps_.values().empty()) last.tally_.sample_period_s = last.gaps_.quantile(0.5);
  return std::move(last.tally_);
}

}  // namespace tramlog
