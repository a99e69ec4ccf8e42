// The recorder's own notes: runs, marks, cuts.
#include <catch2/catch.hpp>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <variant>

#include "io/capture_reader.hpp"
#include "stage/play.hpp"
#include "unit/stage/scratch.hpp"

using namespace tramlog;
using namespace tramlog::stage;

namespace {

const std::string kCut = R"(title = "cut"
start = 2026-04-07T06:12:00Z
duration = 20
[recorder]
run = 41
boot = 7
[[controller]]
label = "a"
name = { function = 128, device_class = 4, identity = 1 }
address = 0x80
  [[controller.message]]
  pgn = 0xFF10
  period = 0.1
  payload = "00 FF"
[[event]]
at = 6
what = "mark"
text = "headland"
[[event]]
at = 10
what = "logger-cut"
for = 4
)";
constexpr TimeNs kStart = 1775542320 * kSecond;

}  // namespace

TEST_CASE("a recorder whose power is cut begins its next run in a section of its own") {
  for (const char* name : {"c.pcapng", "c.pcapng.zst"}) {
    CAPTURE(name);
    Scratch scratch;
    REQUIRE(play_file(scratch.write("s.toml", kCut), scratch.path(name), scratch.path("t.json")).ok());
    CHECK_FALSE(std::filesystem::exists(scratch.path(name) + ".run2"));
    CHECK_FALSE(std::filesystem::exists(scratch.path(name) + ".run2.zst"));
    auto source = CaptureSource::open({scratch.path(name)});
    REQUIRE(source.ok());
    std::vector<std::pair<TimeNs, RecorderNote>> notes;
    std::vector<std::uint64_t> received;
    unsigned frames_while_cut = 0, paused = 0;
    for (auto events = source->read(); !events.empty(); events = source->read()) {
      for (const Event& event : events) {
        const TimeNs at = event.time - kStart;
        if (event.kind == EventKind::frame && at > 10 * kSecond && at < 14 * kSecond) ++frames_while_cut;
        if (event.notice == nullptr) continue;
        if (const auto* note = std::get_if<RecorderNote>(event.notice)) notes.emplace_back(at, *note);
        if (const auto* link = std::get_if<LinkChange>(event.notice))
          paused += link->state == LinkState::paused;
        if (const auto* counters = std::get_if<Counters>(event.notice))
          received.push_back(counters->received.value_or(0));
        CHECK(std::get_if<Damage>(event.notice) == nullptr);
      }
    }
    CHECK(frames_while_cut == 0);
    using Kind = RecorderNote::Kind;
    REQUIRE(notes.size() == 4);
    CHECK(notes[0].second.kind == Kind::run_begins);
    CHECK(notes[0].second.number == 41);
    CHECK(notes[0].second.boot == 7);
    CHECK(notes[0].first == 0);
    CHECK(notes[1].second.kind == Kind::mark);
    CHECK(notes[1].second.text == "headland");
    CHECK(notes[1].first == 6 * kSecond);
    CHECK(notes[2].second.kind == Kind::run_begins);  // no "run ends" before it
    CHECK(notes[2].second.number == 42);
    CHECK(notes[2].second.boot == 8);
    CHECK(notes[2].first == 14 * kSecond);
    CHECK(notes[3].second.kind == Kind::run_ends);
    CHECK(notes[3].second.number == 42);
    CHECK(paused == 1);
    // The counters begin anew with the run: at 10 s (some 95 frames) against 15 s (some 10).
    REQUIRE(received.size() >= 16);
    CHECK(received[9] > 75);
    CHECK(received.back() < 70);
    const auto truth = nlohmann::json::parse(Scratch::read(scratch.path("t.json")));
    REQUIRE(truth["blind"].size() == 1);
    CHECK(truth["blind"][0]["reason"] == "cut");
    CHECK(truth["causes"][0]["code"] == "recorder.blind");
  }
}
