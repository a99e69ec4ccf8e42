#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "implement/line_tools.hpp"
#include "implement/meter_teller.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kStepMoments = 8;

}  // namespace

std::string MeterTeller::step_words(const StepRecord& step) const {
  return fmt::format("set rate from {} to {}", set_words(step.from_raw), set_words(step.to_raw));
}

void MeterTeller::no_answer() {
  const char* code = "meter.no-answer";
  std::vector<const MeasuredStep*> silent;
  std::size_t judged = 0;
  double shortest_s = 0;
  for (const MeasuredStep& step : tally_.steps) {
    if (step.judged && step.record.answered) ++judged;
    if (!counts_as_unanswered(step)) continue;
    ++judged;
    shortest_s = silent.empty() ? step.watched_s : std::min(shortest_s, step.watched_s);
    silent.push_back(&step);
  }
  if (judged == 0) {
    if (tally_.manual && nothing(true).empty()) {
      not_shown(code, "the prescription control state (DDI 158) says manual, so that set rates do not bind");
    } else if (!tally_.steps.empty()) {
      not_shown(code, fmt::format("no change of the set rate was followed by {:.0f} s of undisturbed work",
                                  limits_["meter.no_answer_s"]));
    } else {
      not_shown(code, no_steps());
    }
    return;
  }
  if (silent.empty()) {
    with(line(code, Verdict::pass, fmt::format("Answers every change of the set rate ({} seen).", judged)),
         "steps", static_cast<double>(judged), 0);
    return;
  }
  const MeasuredStep& first = *silent.front();
  CheckLine& told = line(code, Verdict::attention,
                         fmt::format("Does not answer {} of {} of the set rate: nothing changed for at least "
                                     "{}; limit {}. First at {}: {}, "
                                     "delivered stays at {}.",
                                     silent.size(), counted_words(judged, "change", "changes"),
                                     seconds_words(shortest_s), seconds_words(limits_["meter.no_answer_s"]),
                                     time_of_day(first.record.at.time), step_words(first.record),
                                     actual_words(first.record.settled_raw.value_or(first.before_raw))));
  with(told, "unanswered", static_cast<double>(silent.size()), 0);
  with(told, "steps", static_cast<double>(judged), 0);
  with(told, "watched_s", shortest_s);
  with(told, "limit_s", limits_["meter.no_answer_s"]);
  told.start = first.record.at.time;
  for (const MeasuredStep* step : silent) add_moment(told, step->record.at, step_words(step->record));
}

void MeterTeller::times_line(const char* code, const Times& times, double limit, std::string text,
                             const char* key, const char* worst_key, const char* limit_key, int decimals) {
  const double median = spread_of(times.values)->median;
  const bool bad = median > limit || !times.beyond.empty();
  CheckLine& told = line(code, bad ? Verdict::attention : Verdict::pass, std::move(text));
  with(told, key, median, decimals);
  with(told, worst_key, times.worst, decimals);
  with(told, "steps", static_cast<double>(times.values.size()), 0);
  with(told, limit_key, limit, decimals);
  if (tally_.sample_period_s) with(told, "sample_period_s", *tally_.sample_period_s);
  if (!times.beyond.empty()) {
    told.start = times.beyond.front()->record.at.time;
    if (times.beyond.size() < times.values.size())
      told.text += fmt::format(" Beyond the limit {} of {} times, first at {}.", times.beyond.size(),
                               times.values.size(), time_of_day(times.beyond.front()->record.at.time));
  }
  std::size_t listed = 0;
  for (const MeasuredStep* step : times.beyond)
    if (listed++ < kStepMoments) add_moment(told, step->record.at, step_words(step->record));
}

std::string MeterTeller::unsettled_words() const {
  const auto swings = std::count_if(tally_.steps.begin(), tally_.steps.end(),
                                    [](const MeasuredStep& step) { return step.unsteady; });
  if (tally_.steps.empty()) return no_steps();
  if (std::all_of(tally_.steps.begin(), tally_.steps.end(),
                  [&](const MeasuredStep& step) { return lost_in_swings(step); }))
    return "the delivered rate swings too much to tell the answer to a new set rate from it";
  if (swings > 0)
    return fmt::format("after {} of {} of the set rate the delivered rate did not settle", swings,
                       counted_words(tally_.steps.size(), "change", "changes"));
  return "the delivered rate did not settle between a change of the set rate and the next change or "
         "disturbance";
}

void MeterTeller::dead_time() {
  const char* code = "meter.dead-time";
  const double limit = limits_["meter.dead_time_s"];
  const Times found = times(limit, false, [](const MeasuredStep& step) {
    return std::pair(step.record.dead_time_s, step.dead_doubt_s);
  });
  if (found.values.empty()) {
    const bool answered = std::any_of(tally_.steps.begin(), tally_.steps.end(),
                                      [](const MeasuredStep& step) { return step.record.answered; });
    if (tally_.steps.empty() || answered)
      not_shown(code, unsettled_words());
    else
      not_shown(code, "no change of the set rate was answered");
    return;
  }
  std::string text = fmt::format("Answers a new set rate after {} (median of {}, worst {}); limit {}.",
                                 seconds_words(spread_of(found.values)->median),
                                 counted_words(found.values.size(), "step", "steps"),
                                 seconds_words(found.worst), seconds_words(limit));
  if (found.incomplete > 0)
    text +=
        fmt::format(" {} of them did not settle before the next change or disturbance.", found.incomplete);
  times_line(code, found, limit, std::move(text), "dead_time_s", "worst_s", "limit_s", 3);
}

void MeterTeller::rise_time() {
  const char* code = "meter.rise-time";
  const double limit = limits_["meter.rise_time_s"];
  const Times found = times(limit, true, [](const MeasuredStep& step) {
    return std::pair(step.record.rise_time_s, step.rise_doubt_s);
  });
  if (found.values.empty()) {
    not_shown(code, unsettled_words());
    return;
  }
  times_line(code, found, limit,
             fmt::format("Goes from 10 to 90 % of a change in {} (median of {}, worst {}); limit {}.",
                         seconds_words(spread_of(found.values)->median),
                         counted_words(found.values.size(), "step", "steps"), seconds_words(found.worst),
                         seconds_words(limit)),
             "rise_time_s", "worst_s", "limit_s", 3);
}

void MeterTeller::overshoot() {
  const char* code = "meter.overshoot";
  const double limit = limits_["meter.overshoot_pct"];
  Times found = times(limit, true, [](const MeasuredStep& step) {
    return std::pair(step.record.overshoot_pct, step.overshoot_doubt_pct);
  });
  if (found.values.empty()) {
    not_shown(code, unsettled_words());
    return;
  }
  // One step beyond among many may be the ground; a loop that overshoots does it again.
  const double median = spread_of(found.values)->median;
  if (found.beyond.size() < 2 && found.values.size() > 2 && median <= limit) found.beyond.clear();
  times_line(
      code, found, limit,
      fmt::format("Overshoots a change by {:.0f} % of it (median of {}, worst {:.0f} %); limit {:.0f} %.",
                  median, counted_words(found.values.size(), "step", "steps"), found.worst, limit),
      "overshoot_pct", "worst_pct", "limit_pct", 1);
}

}  // namespace tramlog
