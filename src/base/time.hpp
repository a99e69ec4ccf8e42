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

/// RFC 3339 in UTC with all nine digits: "2026-04-07T06:12:00.000000000Z".
std::string format_rfc3339(TimeNs time);

/// Date and time of day in UTC to the millisecond, for people: "2026-04-07 06:12:00.000".
std::string format_date_time(TimeNs time);

/// Time of day in UTC to the millisecond: "06:12:00.000".
std::string format_time_of_day(TimeNs time);

/// A length for people, three significant places: "340 ms", "12.4 s", "3 min 20 s", "2 h 05 min".
std::string format_span(SpanNs span);

/// Seconds as a number for JSON; exact to the nanosecond for spans below 52 days.
double to_seconds(SpanNs span);

}  // namespace tramlog
