#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "implement/line_tools.hpp"
#include "implement/meter_teller.hpp"

namespace tramlog {
namespace {

constexpr double kEnoughWork_s = 10;    // less says nothing
constexpr double kLongSettled_s = 4;    // a shorter stretch is not called the worst
constexpr double kSteadyEnough_s = 10;  // judged for the tolerance

}  // namespace

void MeterTeller::settled_error() {
  const char* code = "meter.settled-error";
  const double limit = limits_["meter.settled_error_pct"];
  const SettledStretch* worst = nullptr;
  double worst_pct = 0, total_s = 0, beyond_s = 0;
  std::size_t beyond = 0, stretches = 0;
  std::vector<const SettledStretch*> moments;
  for (const SettledStretch& one : tally_.settled) {
    if (!one.counts || !(range_ > 0) || at_plateau(static_cast<double>(one.set_raw), one.mean_raw)) continue;
    const double error = 100 * (one.mean_raw - static_cast<double>(one.set_raw)) / range_;
    ++stretches;
    total_s += one.length_s;
    if (one.length_s < kLongSettled_s) continue;
    if (worst == nullptr || std::abs(error) > std::abs(worst_pct)) worst = &one, worst_pct = error;
    if (std::abs(error) <= limit) continue;
    ++beyond;
    beyond_s += one.length_s;
    moments.push_back(&one);
  }
  if (worst == nullptr || total_s < kEnoughWork_s / 2) {
    std::string why = nothing(true);
    if (why.empty())
      why = tally_.manual
                ? "the prescription control state (DDI 158) says manual, so that set rates do not bind"
                : "no settled delivery at one set rate for 4 s or more";
    not_shown(code, why);
    return;
  }
  const double usual = record_.settled_error_pct.value_or(worst_pct);
  std::string text = fmt::format(
      "Settles {:+.1f} % of the range off the set rate, worst {:+.1f} %: {} delivered at a set rate of {}, "
      "after {}; limit "
      "{:.1f} %. The range is {}.",
      usual, worst_pct, actual_words(worst->mean_raw), set_words(worst->set_raw),
      time_of_day(worst->start.time), limit, range_words_);
  if (beyond > 0)
    text += fmt::format(" Beyond the limit in {} of {} settled stretches, for {} together.", beyond,
                        stretches, seconds_words(beyond_s));
  if (const std::string slip = unit_slip(*worst); beyond > 0 && !slip.empty()) text += " " + slip;
  CheckLine& told = line(code, beyond > 0 ? Verdict::attention : Verdict::pass, std::move(text));
  with(told, "settled_error_pct", usual, 2);
  with(told, "worst_pct", worst_pct, 2);
  with(told, "limit_pct", limit, 1);
  with(told, "settled_s", total_s, 1);
  with(told, "range_raw", range_, 0);
  for (const SettledStretch* one : moments) {
    if (!told.start) told.start = one->start.time;
    add_moment(told, one->start,
               fmt::format("{} delivered at a set rate of {}", actual_words(one->mean_raw),
                           set_words(one->set_raw)));
  }
}

std::string MeterTeller::unit_slip(const SettledStretch& stretch) {
  const double ratio = stretch.mean_raw / static_cast<double>(stretch.set_raw);
  for (const double factor : {10.0, 100.0, 1000.0})
    for (const double slip : {factor, 1 / factor})
      if (std::abs(ratio / slip - 1) < 0.1)
        return fmt::format(
            "Delivered and set rate differ by a factor of {:.0f}: look for a wrong unit or resolution.",
            factor);
  return {};
}

void MeterTeller::hunting() {
  const char* code = "meter.hunting";
  const double limit = limits_["meter.hunting_pct"];
  if (const auto& found = hunting_) {
    const Oscillation& swing = found->oscillation;
    CheckLine& told =
        line(code, Verdict::attention,
             fmt::format(
                 "The settled rate swings by {} either way ({:.1f} % of the set rate) with a period of {}, "
                 "over {:.0f} "
                 "cycles{}; limit {:.0f} %.",
                 actual_words(swing.amplitude), 100 * found->share_of_set, seconds_words(swing.period_s),
                 swing.cycles,
                 tally_.hunting_since ? ", since " + time_of_day(tally_.hunting_since->time) : std::string(),
                 limit));
    with(told, "amplitude_raw", swing.amplitude, 1);
    with(told, "amplitude_pct", 100 * found->share_of_set, 2);
    with(told, "period_s", swing.period_s, 2);
    with(told, "cycles", swing.cycles, 1);
    with(told, "limit_pct", limit, 1);
    if (tally_.hunting_since) {
      told.start = tally_.hunting_since->time;
      add_moment(told, *tally_.hunting_since, "the stretch in which it swings first begins");
    }
    return;
  }
  const double least_s = std::max(2 * kEnoughWork_s, 3 * limits_["meter.hunting_period_min_s"]);
  if (tally_.hunting_watched_s < least_s) {
    std::string why = nothing(true);
    if (why.empty())
      why = fmt::format("only {} of settled delivery, {} are needed", seconds_words(tally_.hunting_watched_s),
                        seconds_words(least_s));
    not_shown(code, why);
    return;
  }
  const double slowest = std::min(limits_["meter.hunting_period_max_s"], tally_.longest_watched_s / 0.9);
  std::string text = fmt::format(
      "No steady swing of {:.0f} % of the set rate or more in {} of settled delivery; periods up to "
      "{} would have shown.",
      limit, seconds_words(tally_.hunting_watched_s), seconds_words(slowest));
  if (tally_.speed_swings_s > 0)
    text += fmt::format(" For {} the rate swung with the speed.", seconds_words(tally_.speed_swings_s));
  CheckLine& told = line(code, Verdict::pass, std::move(text));
  with(told, "settled_s", tally_.hunting_watched_s, 1);
  with(told, "slowest_period_s", slowest, 1);
  with(told, "limit_pct", limit, 1);
}

void MeterTeller::tolerance() {
  const char* code = "meter.tolerance";
  const double limit = limits_["meter.outside_tolerance_pct"], band = limits_["meter.tolerance_pct"];
  if (tally_.steady_s < kSteadyEnough_s) {
    std::string why = nothing(true);
    if (why.empty())
      why = fmt::format("only {} of work at a set rate apart from what a change may take, {} are needed",
                        seconds_words(tally_.steady_s), seconds_words(kSteadyEnough_s));
    not_shown(code, why);
    return;
  }
  const double all = 100 * tally_.outside_s / tally_.working_s;
  const double steady = 100 * tally_.steady_outside_s / tally_.steady_s;
  CheckLine& told = line(
      code, steady > limit ? Verdict::attention : Verdict::pass,
      fmt::format("Delivered more than {:.0f} % off the set rate for {:.1f} % of {} of work; without the "
                  "first {} after changes "
                  "and starts for {:.1f} %; limit {:.0f} %.",
                  band, all, seconds_words(tally_.working_s),
                  seconds_words(limits_["meter.dead_time_s"] + limits_["meter.rise_time_s"]), steady, limit));
  with(told, "outside_pct", all, 1);
  with(told, "outside_without_changes_pct", steady, 1);
  with(told, "working_s", tally_.working_s, 1);
  with(told, "limit_pct", limit, 1);
}

}  // namespace tramlog
