#include "compare/judge.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/time.hpp"

namespace tramlog {

Judgement judge_events(const EventCount& before, const EventCount& after, Recurs recurs) {
  if (before.count == after.count && (before.count == 0 || before.hours == after.hours)) return {};
  if (before.hours <= 0 || after.hours <= 0) return {true, Change::other, true};
  const double was = before.count / before.hours, is = after.count / after.hours;
  const Change change = is > was ? Change::worse : Change::better;
  if (before.count == 0 || after.count == 0) {
    const double expected = before.count == 0 ? is * before.hours : was * after.hours;
    const bool luck = change == Change::better && recurs == Recurs::now_and_then;
    const double least = luck ? noise::kLeastExpectedBetter : noise::kLeastExpectedWorse;
    if (expected < least) return {true, Change::other, true, change == Change::better ? least / was : 0};
    return {true, change, false};
  }
  const double ratio = std::max(was, is) / std::min(was, is);
  const double sigma =
      std::sqrt(before.count / (before.hours * before.hours) + after.count / (after.hours * after.hours));
  if (ratio < noise::kRateRatio || std::fabs(is - was) < noise::kSigmas * sigma) return {};
  return {true, change, false};
}

std::string too_short_words(const Judgement& judgement) {
  if (!judgement.too_short) return {};
  if (judgement.needed_h <= 0) return "; the shorter recording is too short to call that a change";
  constexpr double kInHours = 3;  // from here on hours are told
  const double hours = std::min(judgement.needed_h, 1e6);
  return hours < kInHours
             ? fmt::format("; too short to tell: record at least {:.0f} min", std::ceil(hours * 60))
             : fmt::format("; too short to tell: record at least {:.0f} h", std::ceil(hours));
}

Judgement judge_figure(double before, double after, const noise::Limit& limit) {
  const double difference = std::fabs(after - before);
  const double greater = std::max(std::fabs(before), std::fabs(after));
  if (difference <= std::max(limit.absolute, limit.share * greater)) return {};
  return {true, after > before ? Change::worse : Change::better, false};
}

std::string span_words(double seconds) {
  return format_span(static_cast<SpanNs>(std::clamp(seconds, 0.0, 9e9) * 1e9));
}

std::string events_words(const EventCount& events) {
  const std::string span = span_words(events.hours * 3600);
  if (events.count == 0) return fmt::format("none in {}", span);
  constexpr double kWorthARate = 1;  // h: of a shorter time, "an hour" would pretend
  if (events.hours < kWorthARate) return fmt::format("{:.0f} in {}", events.count, span);
  return fmt::format("{:.0f} in {} ({:.2g} an hour)", events.count, span, events.count / events.hours);
}

}  // namespace tramlog
