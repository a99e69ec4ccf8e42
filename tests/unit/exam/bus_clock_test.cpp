#include "exam/bus_clock.hpp"

#include <catch2/catch.hpp>

#include "unit/exam/survives.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

using Payload = std::vector<std::uint8_t>;

/// Seconds in quarters, minute, hour, month, day in quarters, year from 1985, local minute and hour offset (raw).
Payload date(unsigned quarters, unsigned minute, unsigned hour, unsigned month, unsigned day, unsigned year, unsigned hour_offset = 125,
             unsigned minute_offset = 125) {
  const unsigned bytes[] = {quarters, minute, hour, month, day, year, minute_offset, hour_offset};
  Payload payload;
  for (const unsigned byte : bytes) payload.push_back(static_cast<std::uint8_t>(byte));
  return payload;
}

Payload system_time(unsigned source, unsigned days, std::uint32_t tenths_of_ms) {
  Payload payload{0x17, static_cast<std::uint8_t>(0xF0 | source), static_cast<std::uint8_t>(days), static_cast<std::uint8_t>(days >> 8)};
  for (int i = 0; i < 4; ++i) payload.push_back(static_cast<std::uint8_t>(tenths_of_ms >> (8 * i)));
  return payload;
}

constexpr TimeNs at(std::int64_t seconds, SpanNs rest = 0) {
  return seconds * kSecond + rest;
}

struct Bus {
  BusClock clock;
  std::uint64_t frame = 0;
  void tell(TimeNs time, Pgn pgn, Address source, const Payload& payload, BusIndex bus = 0) {
    Message message;
    message.bus = bus;
    message.pgn = pgn;
    message.source = source;
    message.start = message.end = time;
    message.first_frame = message.last_frame = ++frame;
    message.data = payload;
    clock.take(message);
  }
};

constexpr TimeNs kNoon = 1'709'164'800 * kSecond;  // 2024-02-29T00:00:00Z

/// A time and date message of `seconds` after 2024-02-29T00:00:00Z, below a minute.
Payload on_leap_day(unsigned quarters) {
  return date(quarters, 0, 0, 2, 4 * 29, 39);
}

}  // namespace

TEST_CASE("Dates and times worked out by hand") {
  // 2024-02-29T12:34:56.25Z
  CHECK(parse_time_date(date(4 * 56 + 1, 34, 12, 2, 4 * 29 - 3, 39)) == at(1'709'210'096, 250 * kMillisecond));
  // 1985-01-01T00:00:00Z, the first of all.
  CHECK(parse_time_date(date(0, 0, 0, 1, 1, 0)) == at(473'385'600));
  // 2235-12-31T23:59:59.75Z, the last.
  CHECK(parse_time_date(date(239, 59, 23, 12, 4 * 31, 250)) == at(8'394'105'599, 750 * kMillisecond));
  // 2026-11-26T03:15:00Z
  CHECK(parse_time_date(date(0, 15, 3, 11, 4 * 26 - 2, 41)) == at(1'795'662'900));
  // 2000-12-31T23:59:59Z, in a leap year of a full century
  CHECK(parse_time_date(date(4 * 59, 59, 23, 12, 4 * 31, 15)) == at(978'307'199));
}

TEST_CASE("All four quarters of a day are that day") {
  for (unsigned quarter = 1; quarter <= 4; ++quarter) CHECK(parse_time_date(date(0, 0, 0, 1, quarter, 0)) == at(473'385'600));
  CHECK(parse_time_date(date(0, 0, 0, 1, 5, 0)) == at(473'385'600 + 86'400));
}

TEST_CASE("Days that the calendar does not have, and values that are none") {
  CHECK(parse_time_date(date(0, 0, 0, 2, 4 * 28, 115)) == at(4'107'456'000));  // 2100-02-28
  CHECK_FALSE(parse_time_date(date(0, 0, 0, 2, 4 * 29, 115)));                 // 2100 is no leap year
  CHECK_FALSE(parse_time_date(date(0, 0, 0, 2, 4 * 29, 38)));                  // nor is 2023
  CHECK_FALSE(parse_time_date(date(0, 0, 0, 2, 4 * 30, 39)));
  CHECK_FALSE(parse_time_date(date(0, 0, 0, 4, 4 * 31, 39)));
  CHECK_FALSE(parse_time_date(date(0, 0, 0, 1, 0, 39)));
  CHECK_FALSE(parse_time_date(date(0, 0, 0, 1, 125, 39)));
  for (unsigned value = 128; value <= 255; ++value) CHECK_FALSE(parse_time_date(date(0, 0, 0, 1, value, 39)));
  CHECK_FALSE(parse_time_date(date(0, 0, 0, 0, 4, 39)));
  for (unsigned value = 13; value <= 255; ++value) CHECK_FALSE(parse_time_date(date(0, 0, 0, value, 4, 39)));
  for (unsigned value = 240; value <= 255; ++value) CHECK_FALSE(parse_time_date(date(value, 0, 0, 1, 4, 39)));
  for (unsigned value = 60; value <= 255; ++value) CHECK_FALSE(parse_time_date(date(0, value, 0, 1, 4, 39)));
  for (unsigned value = 24; value <= 255; ++value) CHECK_FALSE(parse_time_date(date(0, 0, value, 1, 4, 39)));
  for (unsigned value = 251; value <= 255; ++value) CHECK_FALSE(parse_time_date(date(0, 0, 0, 1, 4, value)));
  CHECK_FALSE(parse_time_date(Payload(8, 0xFF)));
  CHECK_FALSE(parse_time_date(Payload(7, 1)));
  CHECK_FALSE(parse_time_date({}));
}

TEST_CASE("The local offset says whether the time is UTC; it never shifts it") {
  unsigned utc = 0;
  for (unsigned raw = 0; raw <= 255; ++raw) {
    const auto told = parse_time_date(date(0, 0, 0, 1, 4, 39, raw));
    // -23 h to 23 h, or 124 h: not given, the time is UTC.
    const bool expected = (raw >= 102 && raw <= 148) || raw == 249;
    INFO("raw " << raw);
    CHECK(told.has_value() == expected);
    if (told) CHECK(*told == at(1'704'067'200));
    utc += told ? 1 : 0;
  }
  CHECK(utc == 48);
}

TEST_CASE("System time: days, tenths of milliseconds, and only from a clock that follows satellites or radio") {
  CHECK(parse_system_time(system_time(0, 0, 0)) == at(0));
  CHECK(parse_system_time(system_time(0, 19'782, 452'962'501)) == at(1'709'210'096, 250'100'000));
  CHECK(parse_system_time(system_time(4, 64'255, 863'999'999)) == at(5'551'718'399, 999'900'000));
  CHECK_FALSE(parse_system_time(system_time(0, 64'255, 864'000'000)));
  CHECK_FALSE(parse_system_time(system_time(0, 64'256, 0)));
  CHECK_FALSE(parse_system_time(system_time(0, 65'535, 0)));
  CHECK_FALSE(parse_system_time(system_time(0, 19'782, 0xFFFFFFFF)));
  for (unsigned source = 0; source < 16; ++source) CHECK(parse_system_time(system_time(source, 1, 0)).has_value() == (source <= 4));
  CHECK_FALSE(parse_system_time(Payload(7, 0)));
}

TEST_CASE("Offsets are bus time minus recording time: first, last, least and greatest") {
  Bus bus;
  CHECK_FALSE(bus.clock.comparison());
  bus.tell(kNoon + 10 * kSecond, 65254, 0x1C, on_leap_day(4 * 12));
  bus.tell(kNoon + 20 * kSecond, 65254, 0x1C, on_leap_day(4 * 17));
  bus.tell(kNoon + 30 * kSecond, 65254, 0x1C, on_leap_day(4 * 39));
  bus.tell(kNoon + 40 * kSecond, 65254, 0x1C, on_leap_day(4 * 41));
  bus.tell(kNoon + 41 * kSecond, 65254, 0x1C, Payload(8, 0xFF));  // says nothing
  const auto& told = bus.clock.comparison();
  REQUIRE(told);
  CHECK(told->pgn == 65254);
  CHECK(told->source == 0x1C);
  CHECK(told->count == 4);
  CHECK(told->first.time == kNoon + 10 * kSecond);
  CHECK(told->first.frame == 1);
  CHECK(told->last.time == kNoon + 40 * kSecond);
  CHECK(told->last.frame == 4);
  CHECK(told->first_offset == 2 * kSecond);
  CHECK(told->last_offset == kSecond);
  CHECK(told->least == -3 * kSecond);
  CHECK(told->greatest == 9 * kSecond);
}

TEST_CASE("System time takes the place of time and date, never the other way round while it is heard") {
  Bus bus;
  bus.tell(kNoon, 65254, 0x1C, on_leap_day(0));
  bus.tell(kNoon + kSecond, 126992, 0x80, system_time(0, 19'782, 20'000), 1);
  REQUIRE(bus.clock.comparison());
  CHECK(bus.clock.comparison()->pgn == 126992);
  CHECK(bus.clock.comparison()->bus == 1);
  CHECK(bus.clock.comparison()->count == 1);
  CHECK(bus.clock.comparison()->first_offset == kSecond);
  for (unsigned s = 2; s < 59; ++s) bus.tell(kNoon + s * kSecond, 65254, 0x1C, on_leap_day(4 * s));
  CHECK(bus.clock.comparison()->pgn == 126992);
  // Another receiver does not disturb the first.
  bus.tell(kNoon + 30 * kSecond, 126992, 0x81, system_time(0, 19'782, 0));
  CHECK(bus.clock.comparison()->source == 0x80);
  // A crystal's system time says nothing.
  bus.tell(kNoon + 31 * kSecond, 126992, 0x80, system_time(5, 19'782, 0), 1);
  CHECK(bus.clock.comparison()->count == 1);
  // Not heard for more than a minute: whoever speaks is better than nobody.
  bus.tell(kNoon + 62 * kSecond, 65254, 0x1C, on_leap_day(0));
  CHECK(bus.clock.comparison()->pgn == 65254);
  CHECK(bus.clock.comparison()->count == 1);
}

TEST_CASE("The same address on another bus is another source") {
  Bus bus;
  bus.tell(kNoon, 65254, 0x1C, on_leap_day(0), 0);
  bus.tell(kNoon + kSecond, 65254, 0x1C, on_leap_day(40), 1);
  CHECK(bus.clock.comparison()->bus == 0);
  CHECK(bus.clock.comparison()->count == 1);
}

TEST_CASE("Nothing is compared across a step of the recording's clock") {
  Bus bus;
  bus.tell(kNoon, 126992, 0x80, system_time(0, 19'782, 0));
  bus.clock.take_clock_step();
  CHECK_FALSE(bus.clock.comparison());
  bus.tell(kNoon - kHour, 65254, 0x1C, on_leap_day(0));
  REQUIRE(bus.clock.comparison());
  CHECK(bus.clock.comparison()->first_offset == kHour);
}

TEST_CASE("A capture whose times lie centuries before the bus's does no harm") {
  // The earliest time that a reader gives, and the latest that system time can tell.
  constexpr TimeNs kEarliest = -((TimeNs{1} << 62) - 1);
  CHECK(survives([] {
    Bus bus;
    bus.tell(kEarliest, 126992, 0x80, system_time(0, 64'255, 0));
    bus.tell(kEarliest + kSecond, 126992, 0x80, system_time(0, 0, 0));
  }));
}
