#include "report/recorder_page.hpp"

#include <algorithm>
#include <catch2/catch.hpp>

#include "report/format.hpp"
#include "unit/exam/survives.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

using Kind = RecorderNote::Kind;

/// 2026-11-26T03:15:00Z
constexpr TimeNs kT = 1'795'662'900 * kSecond;

Conclusions with_buses() {
  Conclusions all;
  all.buses.resize(2);
  all.buses[0].name = "can0";
  all.buses[1].name = "can1";
  return all;
}

std::string page_of(const Conclusions& all, bool unicode = false) {
  Page page(unicode);
  recorder_page(page, all);
  return page.take();
}

/// Lines put together again, so that where they break does not matter.
std::string flat(const std::string& text) {
  std::string out;
  for (const char c : text)
    if (c != '\n' && c != ' ')
      out += c;
    else if (!out.empty() && out.back() != ' ')
      out += ' ';
  return out;
}

bool has(const std::string& text, const std::string& what) {
  return flat(text).find(what) != std::string::npos;
}

void add_note(Conclusions& all, TimeNs time, Kind kind, const std::string& text, bool of_bus = false, BusIndex bus = 0) {
  RecordedNote noted;
  noted.time = time;
  noted.bus = bus;
  noted.note.kind = kind;
  noted.note.text = text;
  noted.note.of_bus = of_bus;
  all.recorder.notes.push_back(noted);
}

ClockComparison clock_of(SpanNs first, SpanNs last) {
  ClockComparison clock;
  clock.pgn = 65254;
  clock.source = 28;
  clock.count = 2;
  clock.first = {kT, 1};
  clock.last = {kT + kHour, 100};
  clock.first_offset = first;
  clock.last_offset = last;
  clock.least = std::min(first, last);
  clock.greatest = std::max(first, last);
  return clock;
}

}  // namespace

TEST_CASE("Nothing told by a recorder: no page, and null in JSON") {
  CHECK(page_of(with_buses()).empty());
  CHECK(recorder_json(with_buses()).is_null());
}

TEST_CASE("A clock that agrees within two seconds is no reason for a page of its own") {
  Conclusions all = with_buses();
  all.recorder.clock = clock_of(2 * kSecond, -2 * kSecond);
  CHECK(page_of(all).empty());
  CHECK_FALSE(recorder_json(all).is_null());
  all.recorder.clock = clock_of(2 * kSecond + 1, 0);
  CHECK(has(page_of(all), "Clock: the bus's date and time (PGN 65254) told by address 28 on can0 is"));
}

TEST_CASE("Behind and ahead, and what changed meanwhile") {
  Conclusions all = with_buses();
  all.recorder.clock = clock_of(-3 * kHour, -3 * kHour);
  CHECK(has(page_of(all), "is 3 h 00 min behind the times in this report."));
  all.recorder.clock = clock_of(40 * kSecond, 90 * kSecond);
  CHECK(has(page_of(all), "is 1 min 30 s ahead of the times in this report; at first it was 40.0 s ahead of them."));
  all.recorder.clock->pgn = 126992;
  all.buses.resize(1);
  CHECK(has(page_of(all), "Clock: the bus's system time (PGN 126992) told by address 28 is"));
}

TEST_CASE("The technician's notes come first, in their own words") {
  Conclusions all = with_buses();
  add_note(all, kT, Kind::mark, "seed hose refitted");
  add_note(all, kT + kSecond, Kind::interface, "is down", true, 1);
  const std::string page = page_of(all);
  CHECK(page.find("NOTES OF THE TECHNICIAN") < page.find("RECORDER\n"));
  CHECK(has(page, "03:15:00.000 seed hose refitted"));
  CHECK(has(page, "03:15:01.000 can1: the interface: is down."));
  // Only notes of the technician: nothing of the recorder itself.
  Conclusions marks = with_buses();
  add_note(marks, kT, Kind::mark, "here");
  CHECK(page_of(marks).find("\nRECORDER") == std::string::npos);
}

TEST_CASE("Runs with their boots, shifts and ends") {
  Conclusions all = with_buses();
  all.recorder.runs.push_back({12, 3, kT, kT + kHour, 0, ""});
  all.recorder.runs.push_back({13, 0, kT + 2 * kHour, std::nullopt, 90 * kMinute, "the system's clock was behind the end of run 12"});
  const std::string page = page_of(all);
  CHECK(has(page, "Run 12 (boot 3), from 2026-11-26 03:15:00.000 to 2026-11-26 04:15:00.000, ended in good order."));
  CHECK(has(page, "Run 13, from 2026-11-26 05:15:00.000; its end is not in this recording"));
  CHECK(has(page, "Its times are 1 h 30 min ahead of the system's clock: the system's clock was behind the end of run 12."));
  const auto json = recorder_json(all);
  REQUIRE(json["runs"].size() == 2);
  CHECK(json["runs"][0]["end"] == "2026-11-26T04:15:00.000000000Z");
  CHECK(json["runs"][1]["end"].is_null());
  CHECK(json["runs"][1]["boot"].is_null());
  CHECK(json["runs"][1]["clock_shift_s"] == 5'400.0);
  CHECK(json["clock"].is_null());
}

TEST_CASE("Words with control characters, broken UTF-8 and of a thousand bytes stay within the page") {
  Conclusions all = with_buses();
  add_note(all, kT, Kind::mark, std::string("a\n\x1b[2J\xff\xc3(") + std::string(1'000, 'x'));
  add_note(all, kT, Kind::disk, std::string("\x00\x01\n", 3) + "full");
  all.recorder.runs.push_back({1, 0, kT, std::nullopt, kSecond, "why\n\xff\x1b"});
  const std::string page = page_of(all);
  CHECK(std::all_of(page.begin(), page.end(), [](char c) { return c == '\n' || (c >= ' ' && c < 127); }));
  Report report;
  report.found = all;
  const std::string json = find_format("json")->report(report, {});
  CHECK(nlohmann::json::parse(json, nullptr, false).is_object());
}

TEST_CASE("A note of a bus that does not exist has no bus") {
  Conclusions all = with_buses();
  add_note(all, kT, Kind::interface, "is gone", true, 77);
  CHECK(has(page_of(all), "03:15:00.000 the interface: is gone."));
  CHECK(recorder_json(all)["notes"][0]["bus"].is_null());
}

TEST_CASE("Spans at the ends of what a capture can hold") {
  for (const SpanNs span : {INT64_MIN, INT64_MAX}) {
    INFO("span " << span);
    CHECK(survives([&] {
      Conclusions all = with_buses();
      all.recorder.runs.push_back({1, 0, kT, std::nullopt, span, ""});
      (void)page_of(all);
      (void)recorder_json(all);
    }));
    CHECK(survives([&] {
      Conclusions all = with_buses();
      all.recorder.clock = clock_of(span, 5 * kSecond);
      (void)page_of(all);
      all.recorder.clock = clock_of(5 * kSecond, span);
      (void)page_of(all);
      (void)recorder_json(all);
    }));
  }
}
