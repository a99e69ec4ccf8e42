#include "exam/hearing.hpp"

#include <catch2/catch.hpp>

using namespace tramlog;

namespace {

constexpr TimeNs kT = 1'000'000 * kSecond;

struct Recorder {
  Hearing hearing;
  std::uint64_t recorded = 0, received = 0, dropped = 0;
  TimeNs last_frame = kT;

  void block(double seconds) {
    Counters counters;
    counters.received = received;
    counters.system_dropped = dropped;
    hearing.take_counters(counters, kT + static_cast<SpanNs>(seconds * 1e9), recorded, last_frame);
  }
  /// A second of traffic, then its statistics block.
  void second(int n, unsigned frames = 10) {
    recorded += frames;
    received += frames;
    last_frame = kT + n * kSecond - kMillisecond;
    block(n);
  }
  std::uint64_t lost() const {
    std::uint64_t sum = 0;
    for (const BlindSpan& span : hearing.spans()) sum += span.frames_lost.value_or(0);
    return sum;
  }
};

}  // namespace

TEST_CASE("Steady statistics are a pace from the third block on, and nothing is blind") {
  Recorder r;
  r.second(1);
  r.second(2);
  CHECK_FALSE(r.hearing.has_pace());
  for (int n = 3; n < 50; ++n) r.second(n);
  CHECK(r.hearing.has_pace());
  CHECK(r.hearing.statistics_period() == kSecond);
  CHECK(r.hearing.spans().empty());
}

TEST_CASE("A hole in the statistics is blindness; blocks out of turn are none") {
  Recorder r;
  for (int n = 1; n < 20; ++n) r.second(n);
  // A link change, the end of a file and a pause write blocks of their own.
  for (int n = 20; n < 40; ++n) {
    r.second(n);
    r.block(n + 0.01);
    r.block(n + 0.3);
  }
  for (int n = 40; n < 60; ++n) r.second(n);
  CHECK(r.hearing.spans().empty());
  r.second(70);
  r.last_frame = kT + 59 * kSecond;
  CHECK(r.hearing.spans().empty());  // frames until just before that block: it had been hearing
  for (int n = 71; n < 80; ++n) r.second(n);
  r.block(90);
  REQUIRE(r.hearing.spans().size() == 1);
  CHECK(r.hearing.spans()[0].start == kT + 79 * kSecond);
  CHECK(r.hearing.spans()[0].end == kT + 90 * kSecond);
}

TEST_CASE(
    "A gap of the frames in a hole of the statistics is the recorder's, although frames come first again") {
  Recorder r;
  for (int n = 1; n <= 20; ++n) r.second(n);
  SECTION("both missing") {
    r.hearing.take_gap(kT + 20 * kSecond + 1, kT + 26 * kSecond);
    REQUIRE(r.hearing.spans().size() == 1);
    CHECK(r.hearing.spans()[0].start == kT + 20 * kSecond + 1);
    CHECK(r.hearing.spans()[0].end == kT + 26 * kSecond);
  }
  SECTION("statistics went on") {
    for (int n = 21; n <= 25; ++n) r.second(n, 0);
    r.hearing.take_gap(kT + 20 * kSecond, kT + 26 * kSecond);
    CHECK(r.hearing.spans().empty());
  }
  SECTION("statistics had ended long before") {
    r.hearing.take_gap(kT + 40 * kSecond, kT + 60 * kSecond);
    CHECK(r.hearing.spans().empty());
  }
}

TEST_CASE("Kernel drops that the counters tell are blindness with their number") {
  Recorder r;
  for (int n = 1; n <= 5; ++n) r.second(n);
  r.received += 7;
  r.dropped += 7;
  r.second(6);
  REQUIRE(r.hearing.spans().size() == 1);
  CHECK(r.hearing.spans()[0].frames_lost == 7u);
  CHECK(r.hearing.spans()[0].start == kT + 5 * kSecond);
  CHECK(r.hearing.spans()[0].end == kT + 6 * kSecond);
  for (int n = 7; n < 20; ++n) r.second(n);
  CHECK(r.lost() == 7);
}

TEST_CASE("Counters and the packets' own drop counts tell one loss once") {
  Recorder r;
  for (int n = 1; n <= 5; ++n) r.second(n);
  SECTION("the packet first") {
    r.received += 30;
    r.dropped += 30;
    r.hearing.take_loss(30, kT + 5 * kSecond + 100, kT + 5 * kSecond + 900);
    r.second(6);
  }
  SECTION("the counters first") {
    r.received += 30;
    r.dropped += 30;
    r.second(6);
    r.hearing.take_loss(30, kT + 6 * kSecond, kT + 6 * kSecond + 10);
  }
  SECTION("part by part") {
    r.received += 30;
    r.dropped += 30;
    r.hearing.take_loss(10, kT + 5 * kSecond + 100, kT + 5 * kSecond + 900);
    r.second(6);
    r.hearing.take_loss(20, kT + 6 * kSecond, kT + 6 * kSecond + 10);
  }
  for (int n = 7; n < 20; ++n) r.second(n);
  CHECK(r.lost() == 30);
}

TEST_CASE("Received but not recorded is lost; a frame on its way is not; counters that begin anew are not") {
  Recorder r;
  for (int n = 1; n <= 5; ++n) r.second(n);
  r.received += 2;  // counted, but recorded after the block
  r.second(6);
  r.recorded += 2;
  for (int n = 7; n <= 10; ++n) r.second(n);
  CHECK(r.hearing.spans().empty());
  r.received = 0;
  for (int n = 11; n <= 20; ++n) r.second(n);
  CHECK(r.hearing.spans().empty());
  r.received += 40;  // the interface heard them, the recorder did not
  for (int n = 21; n <= 30; ++n) r.second(n);
  CHECK(r.lost() == 40);
  REQUIRE(r.hearing.spans().size() == 1);
  CHECK(r.hearing.spans()[0].start == kT + 20 * kSecond);
  CHECK(r.hearing.spans()[0].end == kT + 21 * kSecond);
}

TEST_CASE("Bus-off lasts until the restart, until error-active, or until a frame proves that it is over") {
  Hearing hearing;
  const std::uint8_t none[8] = {};
  const std::uint8_t active[8] = {0, 0x40};
  hearing.take_error(0x40, none, 8, kT, kT);
  CHECK(hearing.deaf());
  SECTION("restarted") {
    hearing.take_error(0x100, none, 8, kT + 5 * kSecond, kT);
  }
  SECTION("active again") {
    hearing.take_error(0x4, active, 8, kT + 5 * kSecond, kT);
  }
  SECTION("a frame") {
    hearing.take_frame(kT + kMillisecond);  // was queued
    CHECK(hearing.deaf());
    hearing.take_frame(kT + 5 * kSecond);
  }
  CHECK_FALSE(hearing.deaf());
  hearing.finish(kT + kMinute);
  REQUIRE(hearing.spans().size() == 1);
  CHECK(hearing.spans()[0].start == kT);
  CHECK(hearing.spans()[0].end == kT + 5 * kSecond);
}

TEST_CASE("Link down, pause, receive overflow and damage are blindness with their reasons") {
  Hearing hearing;
  hearing.take_link(LinkState::down, kT);
  hearing.take_link(LinkState::up, kT + 2 * kSecond);
  hearing.take_link(LinkState::paused, kT + 10 * kSecond);
  hearing.take_link(LinkState::up, kT + 12 * kSecond);
  const std::uint8_t overflow[8] = {0, 0x01};
  hearing.take_error(0x4, overflow, 8, kT + 20 * kSecond + 5, kT + 20 * kSecond);
  hearing.take_damage(kT + 30 * kSecond, kT + 31 * kSecond);
  hearing.take_link(LinkState::down, kT + 40 * kSecond);
  hearing.finish(kT + 50 * kSecond);
  const auto spans = hearing.spans();
  REQUIRE(spans.size() == 5);
  CHECK(spans[0].reason == "the interface was down");
  CHECK(spans[0].end - spans[0].start == 2 * kSecond);
  CHECK(spans[1].reason == "recording was paused");
  CHECK(spans[2].reason == "the interface's receive buffer overflowed");
  CHECK(spans[2].end - spans[2].start == 5);
  CHECK(spans[3].reason == "the capture is damaged here");
  CHECK(spans[4].end == kT + 50 * kSecond);
}

TEST_CASE("Spans are capped, and what is beyond stays covered and counted") {
  Hearing hearing;
  for (int i = 0; i < 2000; ++i) hearing.take_loss(1, kT + i * kMinute, kT + i * kMinute + kSecond);
  CHECK(hearing.spans().size() == Hearing::kMaxSpans);
  CHECK(hearing.spans_over_cap() == 2000 - Hearing::kMaxSpans);
  std::uint64_t lost = 0;
  for (const BlindSpan& span : hearing.spans()) lost += span.frames_lost.value_or(0);
  CHECK(lost == 2000);
  CHECK(hearing.spans().back().end == kT + 1999 * kMinute + kSecond);
}
