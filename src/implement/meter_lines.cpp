#include "implement/meter_lines.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "implement/line_tools.hpp"
#include "implement/meter_teller.hpp"

namespace tramlog {
namespace {

constexpr const char* kTopic = "meters";
constexpr double kSaturated = 0.01;  // settled rates nearer than this are the same

}  // namespace

MeterTeller::MeterTeller(const Device& device, const MeterTally& tally, ImplementRecord& out)
    : device_(device),
      limits_(device.limits),
      tally_(tally),
      out_(out),
      subject_(device.words(tally.element)) {
  if (tally.maximum_raw && *tally.maximum_raw > 0) {
    range_ = static_cast<double>(*tally.maximum_raw);
    range_words_ = "the maximum rate";
  } else if (tally.greatest_set_raw && *tally.greatest_set_raw > 0) {
    range_ = static_cast<double>(*tally.greatest_set_raw);
    range_words_ = "the largest set rate seen, as no maximum rate is declared";
  }
}

void MeterTeller::tell() {
  saturation_ = saturation();
  record();
  no_answer();
  if (!tally_.family->is_rate()) return add_record();
  dead_time();
  rise_time();
  overshoot();
  settled_error();
  hunting();
  tolerance();
  no_set_rate();
  at_limit();
  flow_stopped();
  add_record();
}

std::string MeterTeller::set_words(std::int64_t raw) const {
  return device_.value_words({tally_.set_element.value_or(tally_.element), tally_.family->set}, raw);
}

std::string MeterTeller::actual_words(double raw) const {
  const double cut = std::clamp(std::round(raw), -2147483648.0, 4294967295.0);
  return device_.value_words({tally_.element, tally_.family->actual}, static_cast<std::int64_t>(cut));
}

CheckLine& MeterTeller::line(const char* code, Verdict verdict, std::string text) {
  CheckLine made = make_line(code, kTopic, subject_, verdict, std::move(text));
  made.element = tally_.element;
  out_.lines.push_back(std::move(made));
  return out_.lines.back();
}

CheckLine& MeterTeller::not_shown(const char* code, std::string_view why) {
  return line(code, Verdict::not_shown, fmt::format("Not shown on this bus: {}.", why));
}

std::string MeterTeller::nothing(bool needs_set) const {
  if (tally_.actual_count == 0)
    return fmt::format("the delivered {} (DDI {}) was not told", tally_.family->quantity,
                       tally_.family->actual);
  if (!tally_.work_known)
    return "nothing tells whether the machine works (work state DDI 141 or section states DDI 161 to 176, "
           "and a speed)";
  if (!tally_.worked) return "the machine did not work while it was recorded";
  if (needs_set && tally_.set_ambiguous)
    return fmt::format(
        "it is not clear which set rate (DDI {}) this element might follow: several above or below hold one, "
        "or share it",
        tally_.family->set);
  if (needs_set && !tally_.last_set_raw)
    return fmt::format("no set rate (DDI {}) was sent to this element or told by it", tally_.family->set);
  return {};
}

std::string MeterTeller::no_steps() const {
  const std::string why = nothing(true);
  if (!why.empty()) return why;
  return fmt::format("the set rate was never changed by {:.0f} % or more during undisturbed work",
                     limits_["meter.smallest_step_pct"]);
}

bool MeterTeller::lost_in_swings(const MeasuredStep& step) const {
  if (!record_.hunting_period_s) return false;
  return step.from_swings || step.unsteady || (!step.record.complete && !step.record.settled_raw);
}

MeterTeller::Saturation MeterTeller::saturation() const {
  Saturation result;
  double greatest = 0;
  for (const SettledStretch& one : tally_.settled)
    if (one.delivers) greatest = std::max(greatest, one.mean_raw);
  bool follows_below = false;
  for (const SettledStretch& one : tally_.settled) {
    if (!one.delivers) continue;
    const double set = static_cast<double>(one.set_raw);
    if (one.mean_raw < greatest * 0.95 && std::abs(one.mean_raw - set) < 0.03 * set) follows_below = true;
    if (one.mean_raw < greatest * (1 - kSaturated) || set < greatest * 1.03) continue;
    result.length_s += one.length_s;
    if (result.first == nullptr)
      result.first = &one;
    else if (std::abs(set - static_cast<double>(result.first->set_raw)) > 0.03 * set)
      result.other = &one;
  }
  if (!follows_below || result.first == nullptr || result.other == nullptr) return {};
  result.plateau = greatest;
  return result;
}

bool MeterTeller::at_plateau(double set, double delivered) const {
  return saturation_.first != nullptr && set > saturation_.plateau &&
         delivered >= saturation_.plateau * (1 - kSaturated);
}

bool MeterTeller::counts_as_unanswered(const MeasuredStep& step) const {
  if (at_plateau(static_cast<double>(step.record.to_raw), step.before_raw)) return false;
  if (!step.judged || step.record.answered || lost_in_swings(step)) return false;
  return step.watched_s >= std::max(limits_["meter.no_answer_s"], 1.5 * longest_dead_s_);
}

void MeterTeller::record() {
  const QuantityFamily& family = *tally_.family;
  record_.element = tally_.element;
  record_.subject = subject_;
  record_.quantity = family.quantity;
  record_.set_ddi = family.set;
  record_.actual_ddi = family.actual;
  record_.set_count = tally_.set_count;
  record_.actual_count = tally_.actual_count;
  record_.last_set_raw = tally_.last_set_raw;
  record_.last_actual_raw = tally_.last_actual_raw;
  if (range_ > 0) record_.range_raw = range_;
  record_.sample_period_s = tally_.sample_period_s;
  hunting_ =
      tally_.hunting.found(limits_["meter.hunting_pct"] / 100,
                           {limits_["meter.hunting_period_min_s"], limits_["meter.hunting_period_max_s"]});
  if (const auto& found = hunting_) {
    record_.hunting_amplitude_raw = found->oscillation.amplitude;
    record_.hunting_period_s = found->oscillation.period_s;
  }
  std::vector<double> dead, rise, over;
  for (const MeasuredStep& step : tally_.steps) {
    record_.steps.push_back(step.record);
    if (lost_in_swings(step)) continue;
    if (step.record.dead_time_s) longest_dead_s_ = std::max(longest_dead_s_, *step.record.dead_time_s);
    if (!step.record.complete) continue;
    if (step.record.dead_time_s) dead.push_back(*step.record.dead_time_s);
    if (step.record.rise_time_s) rise.push_back(*step.record.rise_time_s);
    if (step.record.overshoot_pct) over.push_back(*step.record.overshoot_pct);
  }
  record_.steps_not_listed = tally_.steps_not_listed;
  const auto median = [](std::vector<double> values) -> std::optional<double> {
    const auto spread = spread_of(std::move(values));
    return spread ? std::optional(spread->median) : std::nullopt;
  };
  record_.dead_time_s = median(std::move(dead));
  record_.rise_time_s = median(std::move(rise));
  record_.overshoot_pct = median(std::move(over));
  record_.settled_error_pct = usual_error();
  record_.working_s = tally_.working_s;
  if (tally_.working_s > 0) record_.outside_tolerance_pct = 100 * tally_.outside_s / tally_.working_s;
  record_.without_set_rate_s = tally_.no_set_rate.total_s;
  record_.set_series = tally_.set_series;
  record_.actual_series = tally_.actual_series;
  record_.at_limit_s = tally_.at_limit.total_s;
}

std::optional<double> MeterTeller::usual_error() const {
  if (!(range_ > 0)) return std::nullopt;
  std::optional<std::int64_t> longest;
  double most_s = 0, error = 0;
  for (const SettledStretch& one : tally_.settled) {
    if (!one.counts) continue;
    double total_s = 0, sum = 0;
    for (const SettledStretch& other : tally_.settled) {
      if (!other.counts || other.set_raw != one.set_raw) continue;
      total_s += other.length_s;
      sum += other.length_s * other.mean_raw;
    }
    if (total_s > most_s) {
      most_s = total_s;
      longest = one.set_raw;
      error = 100 * (sum / total_s - static_cast<double>(one.set_raw)) / range_;
    }
  }
  return longest ? std::optional(error) : std::nullopt;
}

void tell_meter(const Device& device, const MeterTally& tally, ImplementRecord& out) {
  MeterTeller(device, tally, out).tell();
}

void tell_no_meters(ImplementRecord& out) {
  for (const char* code :
       {"meter.no-answer", "meter.dead-time", "meter.rise-time", "meter.overshoot", "meter.settled-error",
        "meter.hunting", "meter.tolerance", "meter.no-set-rate", "meter.at-limit", "meter.flow-stopped"})
    out.lines.push_back(make_line(
        code, kTopic, "", Verdict::not_shown,
        "Not shown on this bus: no element tells or takes a rate of delivery (for seed, DDI 6 and 7 or 11 "
        "and 12; for fertilizer, DDI 1 and 2 or 6 and 7)."));
}

}  // namespace tramlog
