#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "implement/line_tools.hpp"
#include "implement/meter_teller.hpp"

namespace tramlog {
namespace {

constexpr double kEnoughWork_s = 10;  // less says nothing

}  // namespace

void MeterTeller::episodes_attention(const char* code, const Episodes& episodes, const char* key,
                                     double limit, std::string text) {
  CheckLine& told = line(code, Verdict::attention, std::move(text));
  with(told, key, episodes.longest_s, 2);
  with(told, "total_s", episodes.total_s, 2);
  with(told, "count", static_cast<double>(episodes.count), 0);
  with(told, "limit_s", limit, 1);
  for (const Moment& moment : episodes.moments) add_moment(told, moment.at, "it begins");
  if (!episodes.moments.empty()) told.start = episodes.moments.front().at.time;
}

std::string MeterTeller::since_words(const Episodes& episodes) {
  const std::string first =
      episodes.moments.empty() ? std::string("-") : time_of_day(episodes.moments.front().at.time);
  if (episodes.count == 1) return fmt::format("for {}, from {}", seconds_words(episodes.longest_s), first);
  return fmt::format("{} times, longest {}, first at {}", episodes.count, seconds_words(episodes.longest_s),
                     first);
}

void MeterTeller::no_set_rate() {
  const char* code = "meter.no-set-rate";
  const double limit = limits_["meter.no_set_rate_s"];
  if (tally_.no_set_rate.count > 0) {
    episodes_attention(code, tally_.no_set_rate, "longest_s", limit,
                       fmt::format("Delivers without a set rate {}; limit {}.",
                                   since_words(tally_.no_set_rate), seconds_words(limit)));
    return;
  }
  std::string why = nothing(true);
  if (why.empty() && tally_.checked_set_s < kEnoughWork_s)
    why = fmt::format("only {} of work with a known set rate", seconds_words(tally_.checked_set_s));
  if (!why.empty()) {
    if (!tally_.last_set_raw && tally_.delivering_s > 0)
      why += fmt::format("; it delivered for {}", seconds_words(tally_.delivering_s));
    not_shown(code, why);
    return;
  }
  CheckLine& told = line(
      code, Verdict::pass,
      fmt::format("Delivers only with a set rate ({} of work seen).", seconds_words(tally_.checked_set_s)));
  with(told, "working_s", tally_.checked_set_s, 1);
  with(told, "limit_s", limit, 1);
}

void MeterTeller::at_limit() {
  const char* code = "meter.at-limit";
  const double limit = limits_["meter.at_limit_s"];
  if (tally_.at_limit.count > 0) {
    std::string bounds;
    if (tally_.maximum_raw) bounds = fmt::format(" (maximum {})", set_words(*tally_.maximum_raw));
    episodes_attention(code, tally_.at_limit, "longest_s", limit,
                       fmt::format("Works at its limit while the set rate lies beyond it {}{}; limit {}.",
                                   since_words(tally_.at_limit), bounds, seconds_words(limit)));
    return;
  }
  if (const Saturation& found = saturation_; found.first != nullptr && found.length_s >= limit) {
    CheckLine& told = line(code, Verdict::attention,
                           fmt::format("Delivers no more than {}, whether the set rate is {} or {}, for {} "
                                       "together; at lower set rates it follows.{}",
                                       actual_words(found.first->mean_raw), set_words(found.first->set_raw),
                                       set_words(found.other->set_raw), seconds_words(found.length_s),
                                       tally_.maximum_raw ? "" : " It declares no maximum rate."));
    with(told, "total_s", found.length_s, 1);
    with(told, "limit_raw", found.first->mean_raw, 0);
    with(told, "limit_s", limit, 1);
    told.start = found.first->start.time;
    add_moment(told, found.first->start, fmt::format("set rate {}", set_words(found.first->set_raw)));
    add_moment(told, found.other->start, fmt::format("set rate {}", set_words(found.other->set_raw)));
    return;
  }
  std::string why = nothing(true);
  if (why.empty() && !tally_.maximum_raw)
    why = fmt::format("no maximum rate (DDI {}) is declared for this element", tally_.family->maximum);
  if (why.empty() && tally_.working_s < kEnoughWork_s)
    why = fmt::format("only {} of work at a set rate", seconds_words(tally_.working_s));
  if (!why.empty()) {
    not_shown(code, why);
    return;
  }
  CheckLine& told =
      line(code, Verdict::pass,
           fmt::format("Never held at its limit; largest set rate {}, maximum {}.",
                       set_words(tally_.greatest_set_raw.value_or(0)), set_words(*tally_.maximum_raw)));
  with(told, "maximum_raw", static_cast<double>(*tally_.maximum_raw), 0);
  with(told, "largest_set_raw", static_cast<double>(tally_.greatest_set_raw.value_or(0)), 0);
}

void MeterTeller::flow_stopped() {
  const char* code = "meter.flow-stopped";
  const double limit = limits_["meter.flow_stopped_s"];
  if (tally_.flow_stopped.count > 0) {
    episodes_attention(code, tally_.flow_stopped, "longest_s", limit,
                       fmt::format("Nothing delivered while working at a set rate {}; limit {}.",
                                   since_words(tally_.flow_stopped), seconds_words(limit)));
    return;
  }
  std::string why = nothing(true);
  if (why.empty() && tally_.working_s < kEnoughWork_s)
    why = fmt::format("only {} of work at a set rate with delivered values", seconds_words(tally_.working_s));
  if (!why.empty()) {
    not_shown(code, why);
    return;
  }
  CheckLine& told = line(
      code, Verdict::pass,
      fmt::format("The flow never stopped in {} of work at a set rate.", seconds_words(tally_.working_s)));
  with(told, "working_s", tally_.working_s, 1);
  with(told, "limit_s", limit, 1);
}

}  // namespace tramlog
