// Time as integer nanoseconds. The core never asks a clock: every time in it came with an event.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace tramlog {

/// A moment: nanoseconds since 1970-01-01T00:00:00 UTC.
using TimeNs = std::int64_t;
/// A length of time in nanoseconds.
using SpanNs = std::int64_t;

inline constexpr SpanNs kMicrosecond = 1'000;
inline constexpr SpanNs kMillisecond = 1'000'000;
inline constexpr SpanNs kSecond = 1'000'000'000;
inline constexpr SpanNs kMinute = 60 * kSecond;
inline constexpr SpanNs kHour = 60 * kMinute;

/// Time from `from` to `to`, negative if `to` lies before; any two moments, cut to the range of SpanNs.
constexpr SpanNs span_between(TimeNs from, TimeNs to) {
  SpanNs span = 0;
  if (!__builtin_sub_overflow(to, from, &span)) return span;
  return to < from ? INT64_MIN : INT64_MAX;
}
/// Without its sign, cut to the range of SpanNs.
constexpr SpanNs magnitude(SpanNs span) { return span >= 0 ? span : span == INT64_MIN ? INT64_MAX : -span; }
/// A moment `span` later, cut to the range of TimeNs.
constexpr TimeNs later_by(TimeNs time, SpanNs span) {
  TimeNs sum = 0;
  if (!__builtin_add_overflow(time, span, &sum)) return sum;
  return span < 0 ? INT64_MIN : INT64_MAX;
}

/// Any TimeNs may be formatted: the years are 1677 to 2262.
/// RFC 3339 in UTC with all nine digits: "2026-04-07T06:12:00.000000000Z".
std::string format_rfc3339(TimeNs time);

/// Date and time of day in UTC to the millisecond, for people: "2026-04-07 06:12:00.000".
std::string format_date_time(TimeNs time);

/// Time of day in UTC to the millisecond: "06:12:00.000".
std::string format_time_of_day(TimeNs time);

/// A length for people, three significant places: "85.2 us", "340 ms", "1.00 s", "12.4 s", "3 min 20 s", "2 h
/// 05 min". Rounded to the nearest; a negative length has a "-" before it.
std::string format_span(SpanNs span);

/// Seconds as a number for JSON; exact to the nanosecond for spans below 52 days.
double to_seconds(SpanNs span);

}  // namespace tramlog
