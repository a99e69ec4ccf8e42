// What the recorder told of itself, as the examiner keeps it.
#include <catch2/catch.hpp>

#include "exam/recorder_words.hpp"
#include "unit/exam/bus_script.hpp"
#include "unit/exam/survives.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

using Kind = RecorderNote::Kind;

RecorderNote note_of(Kind kind, std::string text = "", std::uint64_t number = 0, SpanNs span = 0, std::uint64_t boot = 0) {
  RecorderNote note;
  note.kind = kind;
  note.text = std::move(text);
  note.number = number;
  note.span = span;
  note.boot = boot;
  return note;
}

}  // namespace

TEST_CASE("A run is kept once, though each of its segments begins with the same note") {
  BusScript script;
  for (int segment = 0; segment < 5; ++segment) script.notice(segment * 100, note_of(Kind::run_begins, "clock was behind", 12, 5 * kSecond, 3));
  script.notice(500, note_of(Kind::run_ends, "", 12));
  script.notice(510, note_of(Kind::run_begins, "", 13, 0, 3));
  const RecorderRecord recorder = script.examine().recorder;
  REQUIRE(recorder.runs.size() == 2);
  CHECK(recorder.runs[0].number == 12);
  CHECK(recorder.runs[0].boot == 3);
  CHECK(recorder.runs[0].begin == BusScript::time(0));
  CHECK(recorder.runs[0].end == BusScript::time(500));
  CHECK(recorder.runs[0].clock_shift == 5 * kSecond);
  CHECK(recorder.runs[0].text == "clock was behind");
  CHECK(recorder.runs[1].number == 13);
  CHECK_FALSE(recorder.runs[1].end);
  CHECK(recorder.notes.empty());
  CHECK_FALSE(recorder.empty());
}

TEST_CASE("The same number from another boot is another run, and only one of them has ended") {
  BusScript script;
  script.notice(0, note_of(Kind::run_begins, "", 1, 0, 1));
  script.notice(100, note_of(Kind::run_begins, "", 1, 0, 2));
  script.notice(200, note_of(Kind::run_ends, "", 1));
  const RecorderRecord recorder = script.examine().recorder;
  REQUIRE(recorder.runs.size() == 2);
  CHECK_FALSE(recorder.runs[0].end);
  CHECK(recorder.runs[1].end == BusScript::time(200));
}

TEST_CASE("An end without its begin tells nothing and breaks nothing") {
  BusScript script;
  script.notice(0, note_of(Kind::run_ends, "", 5));
  script.frame(1, 0x18FEF100);
  CHECK(script.examine().recorder.empty());
}

TEST_CASE("Notes stay in their order with time, bus and words; without any there is no record") {
  BusScript script;
  script.notice(0, BusInfo{"can0", 250'000}).notice(0, BusInfo{"can1", 250'000}, 1);
  script.notice(1, note_of(Kind::mark, "hose refitted"));
  RecorderNote of_bus = note_of(Kind::interface, "is down");
  of_bus.of_bus = true;
  script.notice(2, of_bus, 1);
  script.notice(3, note_of(Kind::mark, "hose refitted"));
  const RecorderRecord recorder = script.examine().recorder;
  REQUIRE(recorder.notes.size() == 3);
  CHECK(recorder.notes[0].time == BusScript::time(1));
  CHECK(recorder.notes[1].bus == 1);
  CHECK(recorder.notes[1].note.of_bus);
  CHECK(recorder.notes[2].note.text == "hose refitted");
  CHECK(recorder.not_kept == 0);
  CHECK(BusScript().frame(0, 0x18FEF100).examine().recorder.empty());
}

TEST_CASE("A flood of one kind does not push out the others, and what is left out is counted") {
  BusScript script;
  for (int i = 0; i < 5'000; ++i) script.notice(i, note_of(Kind::disk, "is full"));
  script.notice(6'000, note_of(Kind::mark, "here"));
  for (int i = 0; i < 2'000; ++i) script.notice(7'000 + i, note_of(Kind::run_begins, "", static_cast<std::uint64_t>(i)));
  const Conclusions all = script.examine();
  std::size_t disk = 0, marks = 0;
  for (const RecordedNote& noted : all.recorder.notes) (noted.note.kind == Kind::mark ? marks : disk) += 1;
  CHECK(marks == 1);
  CHECK(disk + all.recorder.runs.size() + all.recorder.not_kept == 7'000);
  CHECK(disk <= 1'024);
  CHECK(all.recorder.runs.size() <= 256);
  // Caps that are hit are told.
  CHECK(std::any_of(all.faults.begin(), all.faults.end(), [](const Fault& fault) { return fault.text.find("of the recorder") != std::string::npos; }));
}

TEST_CASE("Trouble of the disk is a note, what was not recorded a warning, and both name the recorder") {
  BusScript script;
  script.notice(1, note_of(Kind::disk, "is full (No space left on device)"));
  script.notice(2, note_of(Kind::not_recorded, "the disk took nothing", 1'234));
  script.notice(3, note_of(Kind::mark, "not a word of the disk"));
  const Conclusions all = script.examine();
  REQUIRE(count_faults(all, "recorder.disk") == 2);
  std::vector<Fault> faults;
  for (const Fault& fault : all.faults)
    if (fault.code == "recorder.disk") faults.push_back(fault);
  CHECK(faults[0].severity == Severity::note);
  CHECK(faults[0].text == "The recording disk: is full (No space left on device).");
  CHECK(faults[1].severity == Severity::warning);
  CHECK(faults[1].text.find("1234 frames and notices could not be recorded") == 0);
  CHECK(faults[1].start == BusScript::time(2));
  CHECK(faults[1].end == BusScript::time(2));
}

TEST_CASE("Every kind has its code and its sentence") {
  CHECK(std::string(note_code(Kind::run_begins)) == "run-begins");
  CHECK(std::string(note_code(Kind::run_ends)) == "run-ends");
  CHECK(std::string(note_code(Kind::mark)) == "mark");
  CHECK(std::string(note_code(Kind::clock_stepped)) == "clock-stepped");
  CHECK(std::string(note_code(Kind::not_recorded)) == "not-recorded");
  CHECK(std::string(note_code(Kind::disk)) == "disk");
  CHECK(std::string(note_code(Kind::interface)) == "interface");
  CHECK(note_words(note_of(Kind::clock_stepped, "", 0, -2 * kHour)).find("put back by 2 h") != std::string::npos);
  CHECK(note_words(note_of(Kind::clock_stepped, "", 0, 90 * kSecond)).find("put forward by 1 min 30 s") != std::string::npos);
  CHECK(note_words(note_of(Kind::run_begins, "", 7, 0, 2)) == "run 7 of the recorder begins (boot 2)");
  CHECK(note_words(note_of(Kind::not_recorded, "", 1)) == "1 frame or notice could not be recorded");
  CHECK(note_words(note_of(Kind::mark, "a\x1b[31mred\xff")).find('\x1b') == std::string::npos);
}

TEST_CASE("A span of any size that a damaged capture may hold has its words") {
  for (const SpanNs span : {INT64_MIN, INT64_MIN + 1, INT64_MAX}) {
    INFO("span " << span);
    CHECK(survives([&] { (void)note_words(note_of(Kind::clock_stepped, "", 0, span)); }));
  }
}

TEST_CASE("Bus time far from the recording's is compared and told") {
  BusScript script;
  script.notice(0, BusInfo{"can0", 250'000});
  // 2026-04-01T00:00:00Z and a second more each second, from a display; kStart is 2026-03-31T23:33:20Z.
  for (unsigned s = 0; s < 50; ++s)
    script.frame(s, 0x18FEE61C, {static_cast<std::uint8_t>(4 * s), 0, 0, 4, 1, 41, 125, 125});
  const auto clock = script.examine().recorder.clock;
  REQUIRE(clock);
  CHECK(clock->count == 50);
  CHECK(clock->first_offset == 1'600 * kSecond);
  CHECK(clock->last_offset == 1'600 * kSecond);
}
