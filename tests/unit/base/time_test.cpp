#include "base/time.hpp"

#include <catch2/catch.hpp>
#include <limits>

using namespace tramlog;

namespace {
constexpr TimeNs kSpring = 1'775'542'320'000'000'000;  // 2026-04-07 06:12:00 UTC
constexpr TimeNs kSmallest = std::numeric_limits<TimeNs>::min();
constexpr TimeNs kLargest = std::numeric_limits<TimeNs>::max();
}  // namespace

TEST_CASE("RFC 3339 has nine digits and never fails") {
  CHECK(format_rfc3339(0) == "1970-01-01T00:00:00.000000000Z");
  CHECK(format_rfc3339(kSpring) == "2026-04-07T06:12:00.000000000Z");
  CHECK(format_rfc3339(kSpring + 1) == "2026-04-07T06:12:00.000000001Z");
  CHECK(format_rfc3339(-1) == "1969-12-31T23:59:59.999999999Z");
  CHECK(format_rfc3339(951'782'400 * kSecond) == "2000-02-29T00:00:00.000000000Z");
  CHECK(format_rfc3339(kSmallest) == "1677-09-21T00:12:43.145224192Z");
  CHECK(format_rfc3339(kLargest) == "2262-04-11T23:47:16.854775807Z");
}

TEST_CASE("times for people are cut to the millisecond") {
  CHECK(format_date_time(kSpring + 1'999'999) == "2026-04-07 06:12:00.001");
  CHECK(format_date_time(-1) == "1969-12-31 23:59:59.999");
  CHECK(format_time_of_day(kSpring + 12 * kSecond + 345 * kMillisecond) == "06:12:12.345");
  CHECK(format_time_of_day(kSmallest) == "00:12:43.145");
}

TEST_CASE("a length has three significant places") {
  CHECK(format_span(0) == "0 s");
  CHECK(format_span(7) == "7 ns");
  CHECK(format_span(85'230) == "85.2 us");
  CHECK(format_span(340 * kMillisecond) == "340 ms");
  CHECK(format_span(1'254'000) == "1.25 ms");
  CHECK(format_span(kSecond) == "1.00 s");
  CHECK(format_span(12'449 * kMillisecond) == "12.4 s");
  CHECK(format_span(200 * kSecond) == "3 min 20 s");
  CHECK(format_span(125 * kMinute) == "2 h 05 min");
  CHECK(format_span(1500 * kHour) == "1500 h 00 min");
  CHECK(format_span(-340 * kMillisecond) == "-340 ms");
}

TEST_CASE("a length that rounds up moves to the larger unit") {
  CHECK(format_span(999) == "999 ns");
  CHECK(format_span(9'994) == "9.99 us");
  CHECK(format_span(9'995) == "10.0 us");
  CHECK(format_span(99'950) == "100 us");
  CHECK(format_span(999'499) == "999 us");
  CHECK(format_span(999'500) == "1.00 ms");
  CHECK(format_span(999'499'999) == "999 ms");
  CHECK(format_span(999'500'000) == "1.00 s");
  CHECK(format_span(59'949 * kMillisecond) == "59.9 s");
  CHECK(format_span(59'950 * kMillisecond) == "1 min 00 s");
  CHECK(format_span(3'599 * kSecond + 499 * kMillisecond) == "59 min 59 s");
  CHECK(format_span(3'599 * kSecond + 500 * kMillisecond) == "1 h 00 min");
}

TEST_CASE("the longest lengths") {
  CHECK(format_span(kLargest) == "2562047 h 47 min");
  CHECK(format_span(kSmallest) == "-2562047 h 47 min");
}

TEST_CASE("seconds as a number") {
  CHECK(to_seconds(1'500'000'000) == 1.5);
  CHECK(to_seconds(-250 * kMillisecond) == -0.25);
}

TEST_CASE("distances between any two moments") {
  CHECK(span_between(3, 10) == 7);
  CHECK(span_between(10, 3) == -7);
  CHECK(span_between(kSmallest, kLargest) == kLargest);
  CHECK(span_between(kLargest, kSmallest) == kSmallest);
  CHECK(later_by(5, 7) == 12);
  CHECK(later_by(kLargest - 1, 7) == kLargest);
  CHECK(later_by(kSmallest + 1, -7) == kSmallest);
}
