#include "base/time_bound.hpp"

#include <catch2/catch.hpp>

using namespace tramlog;

namespace {

// 2026-04-07T23:50:00Z: 20,550 days after 1970-01-01 (56 years with 14 leap days, 96 days into 2026).
constexpr TimeNs kMidnight = 20'550 * 24 * kHour;
constexpr TimeNs kLateEvening = kMidnight + 23 * kHour + 50 * kMinute;

TimeNs resolved(const char* text, TimeNs start = kLateEvening) {
  const auto bound = parse_time_bound(text, "--from");
  INFO(text);
  REQUIRE(bound.ok());
  return bound.value().resolve(start);
}

}  // namespace

TEST_CASE("a date and time means that moment") {
  CHECK(format_rfc3339(kMidnight) == "2026-04-07T00:00:00.000000000Z");
  const TimeNs expected = kMidnight + 6 * kHour + 12 * kMinute + 41 * kSecond + 300 * kMillisecond;
  CHECK(resolved("2026-04-07T06:12:41.3Z") == expected);
  CHECK(resolved("2026-04-07 06:12:41.3") == expected);
  CHECK(resolved("2026-04-07T06:12:41,300000000") == expected);
  CHECK(resolved("2026-04-07T06:12:41.3000000009") == expected);
  CHECK(resolved("2026-04-07 06:12") == kMidnight + 6 * kHour + 12 * kMinute);
  CHECK(resolved("2026-04-07") == kMidnight);
  CHECK(resolved("1969-12-31T23:59:59Z") == -kSecond);
}

TEST_CASE("a time of day is on the day of the start, or the next one if that would be over 6 h before") {
  CHECK(resolved("23:55") == kLateEvening + 5 * kMinute);
  CHECK(resolved("23:50:00") == kLateEvening);
  CHECK(resolved("23:49:59.999999999") == kLateEvening - 1);
  CHECK(resolved("17:50") == kLateEvening - 6 * kHour);
  CHECK(resolved("17:49") == kLateEvening + 18 * kHour - kMinute);
  CHECK(resolved("00:10:00.5") == kLateEvening + 20 * kMinute + 500 * kMillisecond);
  CHECK(resolved("6:05") == kLateEvening + 6 * kHour + 15 * kMinute);
  // Before 1970 the day still begins at midnight.
  CHECK(resolved("23:00", -kMinute) == -kHour);
  CHECK(resolved("23:59:30", -kMinute) == -30 * kSecond);
}

TEST_CASE("a number counts from the start") {
  CHECK(resolved("0") == kLateEvening);
  CHECK(resolved("12.5") == kLateEvening + 12'500 * kMillisecond);
  CHECK(resolved("12.5s") == kLateEvening + 12'500 * kMillisecond);
  CHECK(resolved("3m") == kLateEvening + 180 * kSecond);
  CHECK(resolved("1.5h") == kLateEvening + 90 * kMinute);
  CHECK(resolved("0.000000001") == kLateEvening + 1);
  // Beyond all times: the last one.
  CHECK(resolved("9000000000s") == INT64_MAX);
}

TEST_CASE("what is no time is told with its option") {
  for (const char* text :
       {"", "noon", "25:00", "12:60", "12:30:60", "12:3", "2026-13-01", "2026-02-29", "2026-04-07T", "5d",
        "-3", "1.", ".5", "12:30:15.", "999999999999h", "2026-04-07T06:12:41+02:00", "3000-01-01", "12 "}) {
    INFO(text);
    const auto bound = parse_time_bound(text, "--to");
    REQUIRE(!bound.ok());
    CHECK(bound.error().kind == ErrorKind::usage);
    CHECK(bound.error().where == "--to");
  }
}
