#include "exam/story.hpp"

#include "base/text.hpp"
#include "unit/exam/scenes.hpp"

namespace tramlog {
namespace {

/// Begins at 06:12:00; six controllers start from 1.0 s to 3.5 s, and talk until the end.
struct DayMade : HandMade {
  explicit DayMade(double length = 600) {
    all.end = at(length);
    for (unsigned i = 0; i < 6; ++i) {
      all.controllers[i].first_seen = mark(1 + 0.5 * i);
      all.controllers[i].last_seen = mark(length - 0.5);
    }
    seen.buses[0].last_frame = mark(length - 0.1);
  }
  Finding& find(std::size_t incident, std::vector<std::size_t> dropouts,
                std::vector<std::size_t> faults = {}) {
    Finding f;
    f.incident = incident;
    f.cause = "supply.unit";
    f.dropouts = std::move(dropouts);
    f.faults = std::move(faults);
    all.findings.push_back(f);
    return all.findings.back();
  }
  void key(double seconds, bool on) {
    seen.buses[0].key_changes.push_back({at(seconds), static_cast<std::uint64_t>(seconds * 100), on});
  }
  void note(double seconds, const std::string& text, RecorderNote::Kind kind = RecorderNote::Kind::mark) {
    RecordedNote noted;
    noted.time = at(seconds);
    noted.note.kind = kind;
    noted.note.text = text;
    all.recorder.notes.push_back(noted);
  }
  void power_down(double from, std::optional<double> to) {
    BusSilence silence;
    silence.start = mark(from);
    if (to) silence.end = mark(*to);
    silence.judged_until = to ? at(*to) : all.end;
    silence.verdict = BusSilence::Verdict::power_down;
    all.silences.push_back(silence);
  }
  /// "06:12:01 start-up: 6 controllers start [1]".
  std::vector<std::string> told() const {
    std::vector<std::string> lines;
    for (const StoryLine& line : tell_story(all, seen))
      lines.push_back(format_time_of_day(line.time).substr(0, 8) + " " + phase_code(line.phase) + ": " +
                      line.text +
                      (line.finding ? " [" + std::to_string(*line.finding + 1) + "]" : std::string()));
    return lines;
  }
};

using Lines = std::vector<std::string>;
const std::string kStarts = "06:12:01 start-up: 6 controllers start in 2.50 s, tractor ECU to rate control";
const std::string kTenMinutes = "06:22:00 end: the recording ends with all 6 controllers on the bus";

TEST_CASE("A short healthy recording is told in two lines", "[story]") {
  const DayMade day(10);
  CHECK(day.told() == Lines{kStarts, "06:12:10 end: the recording ends with all 6 controllers on the bus"});
}

TEST_CASE("A healthy day from quiet to quiet", "[story]") {
  DayMade day;
  for (ControllerRecord& c : day.all.controllers) c.first_seen.time += 20 * kSecond;
  ControllerRecord& late = day.all.controllers[1];
  late.first_seen = day.mark(60);
  ActivityRecord activity;
  activity.driving.push_back({day.at(90), day.at(500), 400 * kSecond, 1200, 4000});
  activity.working.push_back({day.at(100), day.at(490), 380 * kSecond, 950, 3000});
  day.all.seeding.activities.push_back(activity);
  day.key(21, true);
  day.key(580, false);
  day.power_down(585, std::nullopt);
  day.seen.buses[0].last_frame = day.mark(585);
  // 950 m in 380 s are 2.5 m/s, that is 9.0 km/h.
  CHECK(day.told() == Lines{
                          "06:12:00 quiet: nobody talks yet, for 21.0 s",
                          "06:12:21 start-up: 5 controllers start in 2.50 s, tractor ECU to rate control",
                          "06:13:00 start-up: virtual terminal joins",
                          "06:13:40 work: the machine works for 6 min 20 s: 950 m at 9.0 km/h",
                          "06:21:40 shut-down: key off; the last one stops talking 5.00 s later",
                          "06:22:00 end: the recording ends, 15.0 s after the last frame",
                      });
}

TEST_CASE("Driving that is no work has a line of its own", "[story]") {
  DayMade day;
  ActivityRecord activity;
  activity.driving.push_back({day.at(50), day.at(150), 100 * kSecond, 500, 6000});
  activity.driving.push_back({day.at(300), day.at(400), 100 * kSecond, 300, 4000});
  activity.working.push_back({day.at(301), day.at(399), 98 * kSecond, 294, 3000});
  day.all.seeding.activities.push_back(activity);
  CHECK(day.told() == Lines{kStarts, "06:12:50 work: the machine drives for 1 min 40 s: 500 m at 18.0 km/h",
                            "06:17:01 work: the machine works for 1 min 38 s: 294 m at 10.8 km/h",
                            kTenMinutes});
}

TEST_CASE("A recording that begins while the machine runs says so", "[story]") {
  DayMade day;
  for (ControllerRecord& c : day.all.controllers) {
    c.first_seen = day.mark(0.1);
    c.addresses.push_back({c.address, day.at(20), std::nullopt, 0});
  }
  CHECK(day.told() ==
        Lines{"06:12:00 quiet: 6 controllers talk already when the recording begins", kTenMinutes});
}

TEST_CASE("Trouble is told when it began, once, with the number of its finding", "[story]") {
  DayMade day;
  day.on_supply(2, "");
  day.on_supply(3, "");
  day.drop(2, 100, 102.5, true);  // each time back with a new address claim
  day.drop(2, 200, 203, true);
  day.drop(2, 301, 305, true);
  day.drop(3, 50, 0, false);
  day.find(1, {0, 1, 2});
  day.find(1, {0, 1, 2}).cause = "unit.restarts";  // a second cause of the same
  day.find(2, {3});
  CHECK(day.told() == Lines{kStarts, "06:12:50 trouble: unit 3 falls silent, not heard again [3]",
                            "06:13:40 trouble: unit 2 restarts 3 times until 06:17:05 [1]",
                            "06:22:00 end: the recording ends with 5 of 6 controllers on the bus"});
  const auto story = tell_story(day.all, day.seen);
  CHECK(story[1].time == day.at(50));
  CHECK_FALSE(story[1].until);
  CHECK(story[2].until == day.at(305));
}

TEST_CASE("Several fall silent together, or a bus, or a line of the checks stands for it", "[story]") {
  DayMade day;
  for (const std::size_t c : {2u, 3u}) {
    day.on_supply(c, "");
    day.drop(c, 100 + 0.01 * static_cast<double>(c), 111, false, 1);
  }
  for (const std::size_t c : {0u, 1u, 2u, 3u, 4u})
    day.drop(c, 200, 210, false).kind = DropoutKind::bus_silent;
  day.fault("bus.error-frames", 300).end = day.at(312);
  day.find(1, {0, 1});
  day.find(2, {2, 3, 4, 5, 6});
  day.find(3, {}, {0});
  // Of what no finding speaks, warnings and faults are told, notes are not.
  day.fault("diagnostics.trouble-code", 400, {2});
  day.dtc(3, 1681, 18, 405);
  day.all.faults.back().text = "unit 3: SPN 1681, FMI 18 (value too low) is active.";
  day.dtc(3, 168, 18, 405);
  day.all.faults.back().text = "unit 3: SPN 168 (battery), FMI 18 (value too low) is active.";
  day.fault("controller.message-stopped", 410, {2}, Severity::note);
  CHECK(day.told() == Lines{kStarts, "06:13:40 trouble: unit 2 and unit 3 fall silent for 11.0 s [1]",
                            "06:15:20 trouble: all of can0 falls silent for 10.0 s [2]",
                            "06:17:00 trouble: errors on the wires of can0, for 12.0 s [3]",
                            "06:18:40 trouble: unit 2 reports a trouble code",
                            "06:18:45 trouble: unit 3 reports trouble: SPN 1681, FMI 18",
                            "06:18:45 trouble: unit 3 reports trouble: SPN 168, FMI 18", kTenMinutes});
}

TEST_CASE("The recorder's own troubles, restarts and the technician's notes", "[story]") {
  DayMade day;
  day.all.buses[0].blind.push_back({day.at(100), day.at(130), std::nullopt, "stopped"});
  day.fault("recorder.blind", 100).end = day.at(130);
  day.find(1, {}, {0}).cause = "recorder.blind";
  RecorderRun run;
  run.begin = day.at(0);
  day.all.recorder.runs.push_back(run);
  run.begin = day.at(130);
  day.all.recorder.runs.push_back(run);
  day.note(200, "hose of row 3 refitted");
  CHECK(day.told() == Lines{kStarts, "06:13:40 recorder: the recorder is blind for 30.0 s: stopped [1]",
                            "06:14:10 recorder: the recorder starts again; it had been cut off",
                            "06:15:20 mark: note: hose of row 3 refitted", kTenMinutes});
}

TEST_CASE("Key off and on again, and who came back", "[story]") {
  DayMade day;
  day.key(2, true);
  day.key(100, false);
  day.key(120, true);
  day.power_down(105, 118);
  for (const std::size_t c : {0u, 1u, 2u})
    day.drop(c, 104, 118 + static_cast<double>(c), true).kind = DropoutKind::power_down;
  CHECK(day.told() == Lines{kStarts, "06:13:40 shut-down: key off; the last one stops talking 5.00 s later",
                            "06:13:58 start-up: the machine starts again: 3 controllers in 2.00 s",
                            kTenMinutes});
}

TEST_CASE("Many of one kind become one line, and what is left out is counted", "[story]") {
  DayMade day;
  for (int i = 0; i < 40; ++i) day.note(100 + i, "note number " + std::to_string(i));
  CHECK(day.told() ==
        Lines{kStarts, "06:13:40 mark: note: note number 0; 39 more until 06:14:19", kTenMinutes});

  // Fourteen warnings of as many kinds; ten of them have room beside beginning and end.
  DayMade motley;
  for (int i = 0; i < 14; ++i) motley.fault("odd.thing-" + std::to_string(i), 100 + i);
  const Lines lines = motley.told();
  REQUIRE(lines.size() == 12);
  CHECK(lines[1] == "06:13:40 trouble: odd.thing-0 was seen");
  CHECK(lines[10] == "06:13:49 trouble: odd.thing-9 was seen");
  CHECK(lines[11] == "06:22:00 end: the recording ends; 4 lesser moments left out here");
}

TEST_CASE("Three thousand incidents are told in twelve lines, the main ones among them", "[story]") {
  DayMade day(40'000);
  const char* causes[] = {"supply.unit",   "wiring.stub",        "unit.restarts", "wiring.trunk",
                          "supply.shared", "wiring.termination", "unknown",       "connector.hitch"};
  for (int i = 0; i < 3000; ++i) {
    day.drop(2 + static_cast<std::size_t>(i % 4), 100 + 10 * i, 103 + 10 * i, true);
    day.find(static_cast<std::size_t>(i), {static_cast<std::size_t>(i)}).cause = causes[i % 8];
    day.fault("odd.thing-" + std::to_string(i % 50), 105 + 10 * i);
    day.note(106 + 10 * i, "a note");
  }
  day.key(2, true);
  for (int i = 0; i < 50; ++i) {
    day.key(200 + 20 * i, false);
    day.key(210 + 20 * i, true);
  }
  day.key(39'000, false);
  const auto story = tell_story(day.all, day.seen);
  REQUIRE(story.size() == 12);
  CHECK(story.front().phase == Phase::start_up);
  CHECK(story.back().phase == Phase::end);
  CHECK(story.back().text.find("left out here") != std::string::npos);
  for (std::size_t main = 0; main < 3; ++main)
    CHECK(std::any_of(story.begin(), story.end(), [&](const StoryLine& l) { return l.finding == main; }));
  CHECK(std::any_of(story.begin(), story.end(), [&](const StoryLine& l) {
    return l.phase == Phase::shut_down && l.time == day.at(39'000);
  }));
  CHECK(std::is_sorted(story.begin(), story.end(),
                       [](const StoryLine& a, const StoryLine& b) { return a.time < b.time; }));
}

TEST_CASE("Over several days many of one kind are told until a date; work outlives lesser findings",
          "[story]") {
  DayMade day(200'000);
  for (int i = 0; i < 20; ++i) {
    const std::size_t number = day.all.findings.size();
    day.drop(3, 1000 + 9000 * i, 1001 + 9000 * i, false);
    // Ten causes, twice each; the first three incidents are the main ones.
    day.find(number, {number}).cause = "some.cause-" + std::to_string(i % 10);
  }
  ActivityRecord activity;
  for (int i = 0; i < 10; ++i)
    activity.driving.push_back({day.at(500 + 9000 * i), day.at(900 + 9000 * i), 400 * kSecond, 1000, 4000});
  day.all.seeding.activities.push_back(activity);
  activity.working = activity.driving;
  day.all.seeding.activities.push_back(activity);
  const Lines lines = day.told();
  REQUIRE(lines.size() == 12);
  // From 06:20:20 on 7 April; the last stretch ends 81,900 s after 06:12, at 04:57 on the 8th.
  CHECK(lines[1] == "06:20:20 work: the machine works, 10 times until 04-08, 10.0 km in all");
  CHECK(lines[2] == "06:28:40 trouble: rate control falls silent for 1.00 s [1]");
  // The fourth incident and its like, 13 x 9,000 s and 1,001 s after 06:12 on the 7th: on the 8th.
  CHECK(lines[5] == "13:58:40 trouble: rate control falls silent; 1 more until 04-08 [4]");
}

TEST_CASE("No text is longer than its line, whatever the roster and the notes say", "[story]") {
  DayMade day;
  const std::string long_name(200, 'x');
  for (std::size_t c = 0; c < 6; ++c) {
    day.all.controllers[c].label =
        c % 2 == 0 ? long_name : "\xC3\xA4\xC3\xB6\xC3\xBC\xE2\x82\xAC Dosierger\xC3\xA4t";
    day.drop(c, 100 + 20 * static_cast<double>(c), 0, false);
    day.find(c, {c});
  }
  day.note(300, long_name + " " + long_name);
  day.note(301, std::string(100, '\xFF') + "\n\x1B[2J");
  day.all.buses[0].name = long_name;
  day.fault("bus.error-frames", 310);
  const auto story = tell_story(day.all, day.seen);
  CHECK(story.size() <= 12);
  REQUIRE_FALSE(story.empty());
  for (const StoryLine& line : story) {
    INFO(line.text);
    CHECK(as_ascii(line.text).size() <= (line.finding ? kStoryFindingColumns : kStoryColumns));
    CHECK(line.text.find('\x1B') == std::string::npos);
    CHECK(line.text.find('\n') == std::string::npos);
  }
}

TEST_CASE("Times at the ends of what can be told do no harm", "[story]") {
  DayMade day;
  day.all.start = INT64_MIN;
  day.all.end = INT64_MAX;
  day.drop(2, 100, 0, false).start.time = INT64_MIN;
  day.drop(2, 200, 0, false).judged_until = INT64_MAX;
  day.all.buses[0].blind.push_back({INT64_MIN, INT64_MAX, std::nullopt, "stopped"});
  day.fault("bus.error-frames", 300).start = INT64_MIN;
  day.all.faults.back().end = INT64_MAX;
  day.find(1, {0, 1});
  day.find(2, {}, {0});
  day.key(1, true);
  day.seen.buses[0].key_changes.push_back({INT64_MAX, 0, false});
  day.power_down(585, std::nullopt);
  day.all.silences.back().start.time = INT64_MIN;
  const auto story = tell_story(day.all, day.seen);
  CHECK(story.size() <= 12);
  CHECK(story.back().phase == Phase::end);
}

TEST_CASE("An empty recording, and one without any claim", "[story]") {
  HandMade empty;
  empty.all = {};
  empty.seen = {};
  REQUIRE(tell_story(empty.all, empty.seen).size() == 1);
  CHECK(tell_story(empty.all, empty.seen)[0].text == "the recording ends; it holds no valid frame");

  DayMade nameless;
  nameless.all.controllers.clear();
  nameless.all.unclaimed.push_back({0x83, false, 0, nameless.mark(0.2), nameless.mark(599), 100, {}});
  CHECK(nameless.told() == Lines{"06:12:00 quiet: 1 address talks already when the recording begins",
                                 "06:22:00 end: the recording ends"});
}

}  // namespace
}  // namespace tramlog
