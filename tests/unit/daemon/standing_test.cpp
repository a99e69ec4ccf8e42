// What is told as an event between two moments of a live run.
#include "daemon/standing.hpp"

#include <algorithm>
#include <catch2/catch.hpp>

#include "base/time.hpp"

using namespace tramlog;

namespace {

constexpr TimeNs kT = 1'795'662'900 * kSecond;

Standing thing(const std::string& kind, const std::string& key, const std::string& text, TimeNs start = kT, std::optional<TimeNs> end = std::nullopt) {
  Standing made;
  made.kind = kind;
  made.key = key;
  made.code = "code";
  made.severity = "warning";
  made.text = text;
  made.start = start;
  made.end = end;
  return made;
}

std::vector<std::string> words(const std::vector<LiveEvent>& events) {
  std::vector<std::string> found;
  for (const LiveEvent& event : events) found.push_back(event.event);
  return found;
}
using Words = std::vector<std::string>;

}  // namespace

TEST_CASE("What is new begins, what has ended ends, and nothing is told twice") {
  StandingMemory memory;
  CHECK(memory.compare({}, kT).empty());
  auto events = memory.compare({thing("fault", "f", "loose contact", kT + 5)}, kT + 10);
  REQUIRE(words(events) == Words{"fault-begins"});
  CHECK(events[0].time == kT + 5);
  CHECK(events[0].what.text == "loose contact");
  CHECK(memory.compare({thing("fault", "f", "loose contact", kT + 5)}, kT + 20).empty());
  // More words about the same fault are no event.
  CHECK(memory.compare({thing("fault", "f", "loose contact, 3 times", kT + 5)}, kT + 20).empty());
  events = memory.compare({thing("fault", "f", "loose contact, 3 times", kT + 5, kT + 25)}, kT + 30);
  REQUIRE(words(events) == Words{"fault-ends"});
  CHECK(events[0].time == kT + 25);
  CHECK(memory.compare({thing("fault", "f", "", kT + 5, kT + 29)}, kT + 30).empty());
  CHECK(memory.changes() == 2);
}

TEST_CASE("What later frames show to be otherwise is withdrawn, with what had been said") {
  StandingMemory memory;
  (void)memory.compare({thing("dropout", "d", "fell silent"), thing("fault", "f", "x")}, kT);
  const auto events = memory.compare({thing("fault", "f", "x")}, kT + kSecond);
  REQUIRE(words(events) == Words{"dropout-withdrawn"});
  CHECK(events[0].time == kT + kSecond);
  CHECK(events[0].what.text == "fell silent");
  CHECK(memory.compare({thing("fault", "f", "x")}, kT + 2 * kSecond).empty());
  CHECK(words(memory.compare({thing("fault", "f", "x"), thing("dropout", "d", "fell silent")}, kT + 3 * kSecond)) == Words{"dropout-begins"});
}

TEST_CASE("Controllers appear and change, with the state before; the same words are no change") {
  StandingMemory memory;
  Standing one = thing("controller", "c", "seeder is present");
  one.code = "present";
  REQUIRE(words(memory.compare({one}, kT)) == Words{"controller-appears"});
  CHECK(memory.compare({one}, kT + 1).empty());
  one.code = "lost";
  one.text = "seeder is lost";
  const auto events = memory.compare({one}, kT + 7);
  REQUIRE(words(events) == Words{"controller-changes"});
  CHECK(events[0].before == "present");
  CHECK(events[0].time == kT + 7);
  Standing entry = thing("roll-call", "r", "planter: missing");
  CHECK(words(memory.compare({one, entry}, kT + 8)) == Words{"roll-call"});
  entry.text = "planter: present";
  CHECK(words(memory.compare({one, entry}, kT + 9)) == Words{"roll-call-changes"});
}

TEST_CASE("A trouble code that comes back begins again; a note is told once and as itself") {
  StandingMemory memory;
  CHECK(words(memory.compare({thing("trouble-code", "t", "SPN 1")}, kT)) == Words{"trouble-code-begins"});
  CHECK(words(memory.compare({thing("trouble-code", "t", "SPN 1", kT, kT + 5)}, kT + 6)) == Words{"trouble-code-ends"});
  const auto again = memory.compare({thing("trouble-code", "t", "SPN 1")}, kT + 9);
  REQUIRE(words(again) == Words{"trouble-code-begins"});
  CHECK(again[0].time == kT + 9);
  CHECK(words(memory.compare({thing("trouble-code", "t", "SPN 1"), thing("note", "n", "here", kT + 3, kT + 3)}, kT + 10)) == Words{"note"});
  CHECK(memory.compare({thing("trouble-code", "t", "SPN 1"), thing("note", "n", "here", kT + 3, kT + 3)}, kT + 11).empty());
}

TEST_CASE("Two of one key count once, and events of one look are in the order of time") {
  StandingMemory memory;
  const auto events = memory.compare({thing("fault", "b", "second", kT + 9), thing("fault", "a", "first", kT + 1), thing("fault", "a", "repeated", kT + 2)}, kT + 20);
  REQUIRE(events.size() == 2);
  CHECK(events[0].what.text == "first");
  CHECK(events[1].what.text == "second");
  CHECK(memory.compare({thing("fault", "b", "second", kT + 9), thing("fault", "a", "first", kT + 1)}, kT + 20).empty());
}

TEST_CASE("What stands goes over the pipe and comes back the same") {
  Standing full = thing("fault", "key", "text\n\"quoted\" ä", kT, kT + 1);
  full.bus = "can0";
  full.controllers = {"A0088000F3C10001", "x"};
  const auto back = standing_from_json(nlohmann::json::parse(to_json({full, thing("note", "", "")}).dump()));
  REQUIRE(back.size() == 2);
  CHECK(back[0].key == "key");
  CHECK(back[0].kind == "fault");
  CHECK(back[0].code == "code");
  CHECK(back[0].severity == "warning");
  CHECK(back[0].bus == "can0");
  CHECK(back[0].controllers == full.controllers);
  CHECK(back[0].text == full.text);
  CHECK(back[0].start == kT);
  CHECK(back[0].end == kT + 1);
  CHECK_FALSE(back[1].end);
}

TEST_CASE("An event is one line of JSON, also with broken words") {
  LiveEvent event;
  event.event = "fault-begins";
  event.time = kT;
  event.what = thing("fault", "k", "a\nb\xff", kT);
  event.what.bus = std::string("can\xff");
  const std::string line = event_line(event, 7);
  CHECK(std::count(line.begin(), line.end(), '\n') == 1);
  const auto json = nlohmann::json::parse(line);
  CHECK(json["time"] == "2026-11-26T03:15:00.000000000Z");
  CHECK(json["run"] == 7);
  CHECK(json["event"] == "fault-begins");
  CHECK(json["end"].is_null());
  CHECK_FALSE(json.contains("before"));
  event.before = "present";
  event.what.bus.clear();
  const auto changed = nlohmann::json::parse(event_line(event, 0));
  CHECK(changed["before"] == "present");
  CHECK(changed["run"].is_null());
  CHECK(changed["bus"].is_null());
}

TEST_CASE("Whatever bytes an interface's name or a technician's words have, a moment can be told") {
  Conclusions all;
  all.buses.resize(1);
  all.buses[0].name = "can\xff";  // the kernel allows it
  RecordedNote noted;
  noted.time = kT;
  noted.note.kind = RecorderNote::Kind::interface;
  noted.note.of_bus = true;
  noted.note.text = "is \xfe down";
  all.recorder.notes.push_back(noted);
  const auto standing = standing_of(all);
  REQUIRE(standing.size() == 1);
  CHECK_NOTHROW((void)to_json(standing).dump());
}
