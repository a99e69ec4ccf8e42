// What the recorder could not hear, loose contacts, voices without a claim: through the whole examiner.
#include "unit/exam/bench.hpp"

using namespace tramlog;

namespace {

const Name kTractor = ExamBench::unit(1, 0, 0), kA = ExamBench::unit(10), kB = ExamBench::unit(11, 4, 128, 1);

/// A tractor with its key switch on, two units, and statistics each second.
ExamBench machine(double until) {
  ExamBench b;
  b.statistics(0.95, until);
  b.claim(0.01, kTractor, 0x00);
  b.claim(0.02, kA, 0x80);
  b.claim(0.03, kB, 0x81);
  b.key(0.3, until, true);
  return b;
}

}  // namespace

TEST_CASE("While the recorder was blind nobody is missing, and one reason is told for it") {
  ExamBench b = machine(120);
  b.talks(0.4, 60, 0x80);
  b.talks(66, 120, 0x80);
  b.talks(0.4, 120, 0x81);
  std::string reason;
  SECTION("bus-off until restarted") {
    b.lose(60.06, 65.89, false);
    b.error(60.05, 0x40);
    b.error(65.9, 0x100);
    reason = "bus-off";
  }
  SECTION("bus-off, the restart is not told") {
    b.lose(60.06, 65.89, false);
    b.error(60.05, 0x40);
    reason = "bus-off";
  }
  SECTION("link down and up") {
    b.lose(60.06, 65.89, true);
    b.notice(60.05, LinkChange{LinkState::down});
    b.notice(65.9, LinkChange{LinkState::up});
    reason = "down";
  }
  SECTION("paused") {
    b.lose(60.06, 65.89, true);
    b.notice(60.05, LinkChange{LinkState::paused});
    b.notice(65.9, LinkChange{LinkState::up});
    reason = "paused";
  }
  SECTION("the packets' drop count") {
    b.lose(60.05, 65.9, true);
    b.notice(65.89, FramesLost{900});
    reason = "dropped";
  }
  SECTION("receive overflow") {
    b.lose(60.05, 65.9, true);
    b.error(65.89, 0x4, {0, 1, 0, 0, 0, 0, 0, 0});
    reason = "overflow";
  }
  SECTION("damage") {
    b.lose(60.05, 65.9, true);
    b.notice(60.06, Damage{1000, 5000, "blocks do not end", 0});
    reason = "damaged";
  }
  SECTION("it stood still: neither frames nor statistics") {
    b.lose(60.05, 65.9, true);
    reason = "stood still";
  }
  const Conclusions all = b.conclude();
  CHECK(all.dropouts.empty());
  for (const BusSilence& silence : all.silences) CHECK(silence.verdict == BusSilence::Verdict::blind);
  for (const BlindSpan& span : all.buses[0].blind)
    UNSCOPED_INFO(span.reason << " " << to_seconds(span.start - ExamBench::kStart) << " to "
                              << to_seconds(span.end - ExamBench::kStart));
  REQUIRE(all.buses[0].blind.size() == 1);
  CHECK(all.buses[0].blind[0].reason.find(reason) != std::string::npos);
  CHECK(near(all.buses[0].blind[0].start, 60.05, 0.2));
  CHECK(near(all.buses[0].blind[0].end, 65.9, 0.2));
  CHECK(controller_of(all, kA).state == ControllerState::present);
}

TEST_CASE("A recorder that stops while another bus goes on is blind until the end") {
  ExamBench b = machine(60);
  b.talks(0.4, 60, 0x80);
  b.statistics(0.95, 120, 0, 1);
  b.talks(0.4, 120, 0x80, 1);
  const Conclusions all = b.conclude();
  for (const Dropout& d : all.dropouts) CHECK(d.bus == 1);
  REQUIRE(all.buses[0].blind.size() == 1);
  CHECK(near(all.buses[0].blind[0].end, 120));
  CHECK(controller_of(all, kA).state == ControllerState::present);
}

TEST_CASE("Packets of another kind that the interface counted are not lost frames") {
  ExamBench b = machine(60);
  b.talks(0.4, 60, 0x80);
  for (double t = 5; t < 50; t += 0.5) b.foreign(t);
  const Conclusions all = b.conclude();
  CHECK(all.foreign == 90);
  CHECK(all.buses[0].blind.empty());
}

TEST_CASE("A loose plug that opens again and again is told each time") {
  ExamBench b = machine(220);
  b.talks(0.4, 100, 0x80);
  for (int i = 0; i < 5; ++i) b.talks(105 + i * 20, 120 + i * 20, 0x80);
  b.talks(0.4, 220, 0x81);
  const Conclusions all = b.conclude();
  REQUIRE(all.dropouts.size() == 6);
  for (const Dropout& dropout : all.dropouts) CHECK(dropout.controller == 1u);
  CHECK_FALSE(all.dropouts.back().end);
  CHECK(all.controllers[1].state == ControllerState::lost);
}

TEST_CASE("A word at power-up, bursts minutes later: no run that anybody could rely upon") {
  ExamBench b = machine(600);
  b.talks(0.4, 600, 0x81);
  std::uint8_t position = 0;
  b.frame(0.5, make_id(6, 0xFF40, 0x80), {0, 0});
  for (double from : {100.0, 260.0, 420.0})
    for (double t = from; t < from + 8; t += 0.05) b.frame(t, make_id(6, 0xFF40, 0x80), {++position, 0});
  CHECK(b.conclude().dropouts.empty());
}

TEST_CASE("A message that ends is no dropout if its controller only answers from then on") {
  ExamBench b = machine(200);
  b.talks(0.4, 200, 0x81);
  b.talks(0.4, 100, 0x80);
  b.ask(130, 0xFEDA, 0x81, 0x80);
  b.frame(130.02, make_id(6, 0xFEDA, 0x80), {1, 'A', '1', '*', 0xFF, 0xFF, 0xFF, 0xFF});
  const Conclusions all = b.conclude();
  CHECK(all.dropouts.empty());
  const auto stops = faults_of(all, "controller.message-stopped");
  REQUIRE(stops.size() == 1);
  CHECK(near(stops[0].start, 100));
  CHECK(stops[0].controllers == std::vector<std::size_t>{1});
}

TEST_CASE("A voice that talks before it claims is one with the NAME that claims later") {
  ExamBench b;
  b.statistics(0.95, 120);
  b.talks(0.4, 120, 0x81);
  SECTION("healthy") {
    b.talks(0.4, 120, 0x80);
    b.ask(50, kPgnAddressClaimed, 0x81);
    b.claim(50.02, kA, 0x80);
    const Conclusions all = b.conclude();
    CHECK(all.dropouts.empty());
    REQUIRE(all.controllers.size() == 1);
    CHECK(near(all.controllers[0].first_seen.time, 0.4));
    CHECK(all.controllers[0].frames > 1100);
    REQUIRE(all.unclaimed.size() == 1);
    CHECK(all.unclaimed[0].address == 0x81);
  }
  SECTION("its first claim is that of a restart") {
    b.talks(0.4, 30, 0x80);
    b.claim(33, kA, 0x80);
    b.talks(33.3, 120, 0x80);
    const Conclusions all = b.conclude();
    REQUIRE(all.dropouts.size() == 1);
    CHECK(all.dropouts[0].reclaimed);
    CHECK(all.dropouts[0].controller == 0u);
  }
  SECTION("what befell it before is its own too") {
    b.talks(0.4, 30, 0x80);
    b.talks(40, 120, 0x80);
    b.ask(60, kPgnAddressClaimed, 0x81);
    b.claim(60.02, kA, 0x80);
    const Conclusions all = b.conclude();
    REQUIRE(all.dropouts.size() == 1);
    CHECK(all.dropouts[0].controller == 0u);
    CHECK(all.controllers[0].state == ControllerState::intermittent);
  }
}

TEST_CASE("After a step of the clock back, load and silences are those of the time that was recorded") {
  ExamBench b;
  b.claim(0.01, kA, 0x80);
  b.talks(0.4, 600, 0x80);
  b.talks(0.4, 600, 0x81);
  auto events = b.events();
  ExamBench after;
  after.talks(5, 60, 0x81);
  after.talks(5, 30, 0x80);
  const auto more = after.events();
  events.insert(events.end(), more.begin(), more.end());
  Examiner examiner;
  examiner.take(events);
  const Conclusions all = examiner.conclude();
  CHECK(faults_of(all, "capture.clock-step").size() == 1);
  CHECK(all.buses[0].load_peak_pct < 5);
  CHECK(all.buses[0].load_mean_pct < 2);
  REQUIRE(all.dropouts.size() == 1);
  CHECK(near(all.dropouts[0].start.time, 30));
}

TEST_CASE("Damage is told at its own time, and where the recording breaks off in the story") {
  ExamBench b;
  b.claim(0.01, ExamBench::unit(1), 0x80);
  b.statistics(0.95, 30);
  b.talks(0.4, 30, 0x80);
  b.notice(12.005, Damage{1000, 48, "block lengths differ", 0});
  b.notice(20.005, Damage{2000, 0, "a time stamp far from those around it", 0, Damage::Kind::stamp});
  b.notice(31, Damage{9000, 19, "file ends inside a block", 0, Damage::Kind::breaks_off});
  const Conclusions all = b.conclude();
  const auto faults = faults_of(all, "capture.damaged");
  REQUIRE(faults.size() == 1);
  REQUIRE(faults[0].evidence.size() == 3);
  CHECK(near(faults[0].start, 12.005, 0.001));
  CHECK(near(faults[0].evidence[0].at.time, 12.005, 0.001));
  CHECK(near(faults[0].evidence[1].at.time, 20.005, 0.001));
  CHECK(near(faults[0].evidence[2].at.time, 31, 0.001));
  CHECK(faults[0].text.find("the recording breaks off at ") != std::string::npos);
  CHECK(faults[0].text.find("1 time stamp was far from those around it") != std::string::npos);
  bool told = false;
  for (const StoryLine& line : all.story)
    told = told || (line.text == "the recording breaks off; what came after is not known" && near(line.time, 31, 0.001));
  CHECK(told);
  // A stamp that was put right takes nothing from what was heard.
  for (const BlindSpan& span : all.buses[0].blind)
    CHECK_FALSE((span.start < ExamBench::kStart + 21 * kSecond && span.end > ExamBench::kStart + 19 * kSecond));
}
