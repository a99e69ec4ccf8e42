// The line itself: interface states, errors and load, floods, jitter, bit rate.
#include "unit/exam/check_bench.hpp"

using namespace tramlog;

namespace {

constexpr std::uint32_t kController = 0x04, kProtocol = 0x08, kBusOff = 0x40, kRestarted = 0x100;

/// `streams` messages of other units at `per_s` in all, 133 bits each.
void load(ExamBench& b, double from, double to, unsigned streams, double per_s) {
  for (unsigned i = 0; i < streams; ++i)
    b.every(streams / per_s, from + i / per_s, to, 0xFF10 + i, static_cast<Address>(0xA0 + i),
            ExamBench::Payload(8, 0x5A));
}

}  // namespace

TEST_CASE("Bus-off and error-passive of the interface have their own codes") {
  ExamBench b = two_talkers(60);
  b.error(20, kController, {0, 0x10, 0, 0, 0, 0, 0, 130});
  SECTION("passive, and active again") {
    b.error(20.2, kController, {0, 0x40, 0, 0, 0, 0, 0, 0});
    const Conclusions all = b.conclude();
    const Fault fault = only(all, "bus.error-passive");
    CHECK(says(fault, "counters up to 130 receiving"));
    CHECK(says(fault, "error-active again"));
    CHECK(none(all, "bus.off"));
  }
  SECTION("passive for good") {
    CHECK(says(only(b.conclude(), "bus.error-passive"), "nothing tells that it recovered"));
  }
  SECTION("bus-off") {
    b.lose(30, 33, false);
    b.error(30.05, kBusOff);
    b.error(33, kRestarted);
    const Fault fault = only(b.conclude(), "bus.off");
    CHECK(says(fault, "heard nothing for 2.9"));
    CHECK(says(fault, "started again"));
  }
}

TEST_CASE("An error warning is neither bus-off nor error-passive") {
  ExamBench b = two_talkers(60);
  b.error(20, kController, {0, 0x04, 0, 0, 0, 0, 0, 97});
  b.error(21, kProtocol, {0, 0, 0x04, 0, 0, 0, 0, 0});
  const Conclusions all = b.conclude();
  CHECK(none(all, "bus.off"));
  CHECK(none(all, "bus.error-passive"));
}

TEST_CASE("Errors that follow the load are told with their correlation") {
  ExamBench b = two_talkers(100);
  for (int second = 5; second < 95; ++second) {
    const bool busy = second % 3 == 0;
    if (busy) load(b, second, second + 1, 4, 400);
    for (int i = 0; i < (busy ? 3 : second % 2); ++i)
      b.error(second + 0.1 + 0.2 * i, kProtocol, {0, 0, 4, 0, 0, 0, 0, 0});
  }
  // 90 seconds: 30 busy with 3 errors, 60 others of which 30 are odd with one.
  const Fault fault = only(b.conclude(), "bus.errors-with-load");
  CHECK(says(fault, ": 120 in "));
  CHECK(says(fault, "a second above"));
}

TEST_CASE("Errors that do not follow the load, or come in one burst, are not told so") {
  ExamBench b = two_talkers(100);
  for (int second = 6; second < 95; second += 3) load(b, second, second + 1, 4, 400);
  SECTION("alternating") {
    for (int second = 5; second < 95; second += 2) b.error(second + 0.1, kProtocol, {0, 0, 4, 0, 0, 0, 0, 0});
  }
  SECTION("one burst in a busy second") {
    for (int i = 0; i < 80; ++i) b.error(30.1 + i * 0.01, kProtocol, {0, 0, 4, 0, 0, 0, 0, 0});
  }
  CHECK(none(b.conclude(), "bus.errors-with-load"));
}

TEST_CASE("High load for ten seconds names who sends most; a shorter one does not") {
  ExamBench b = two_talkers(60);
  // 133 bits x 1,650 = 219,450 of 250,000 a second.
  SECTION("twelve seconds") {
    load(b, 20, 32, 6, 1650);
    const Conclusions all = b.conclude();
    const Fault fault = only(all, "bus.load-high");
    CHECK(fault.severity == Severity::warning);
    CHECK(says(fault, "PGN 65296 (0xFF10), about 1"));  // a sixth
    CHECK(near(fault.start, 20, 1.1));
    CHECK(near(*fault.end, 32, 1.1));
    CHECK(none(all, "bus.one-talker-floods"));
  }
  SECTION("six seconds") {
    load(b, 20, 26, 6, 1650);
    CHECK(none(b.conclude(), "bus.load-high"));
  }
}

TEST_CASE("One message at many times its earlier pace is a flood") {
  ExamBench b = two_talkers(60);
  const auto faster = [&](double period, double from, double to) {
    b.every(0.1, 0.45, from, 0xFF44, 0x80);
    b.every(period, from, to, 0xFF44, 0x80);
    b.every(0.1, to, 60, 0xFF44, 0x80);
  };
  SECTION("a thousand a second for six seconds") {
    faster(0.001, 30, 36);
    const Conclusions all = b.conclude();
    const Fault fault = only(all, "bus.one-talker-floods");
    CHECK(about(all, fault, {kFirstUnit}));
    CHECK(says(fault, "instead of 10."));
    CHECK(says(fault, "PGN 65348"));
    CHECK(near(fault.start, 30, 1.1));
  }
  SECTION("the same for two seconds") {
    faster(0.001, 30, 32);
    CHECK(none(b.conclude(), "bus.one-talker-floods"));
  }
  SECTION("ten times faster, but a small share") {
    faster(0.01, 30, 50);
    CHECK(none(b.conclude(), "bus.one-talker-floods"));
  }
}

TEST_CASE("Gaps that spread towards late are told; a new pace is not") {
  ExamBench b = two_talkers(200);
  constexpr Pgn kOwn = 0xFF45;
  b.every(0.1, 0.5, 60, kOwn, 0x80);
  SECTION("30 ms and 370 ms by turns") {
    for (double t = 60; t < 190; t += 0.4) {
      b.frame(t, make_id(6, kOwn, 0x80), ExamBench::Payload(8, 0x5A));
      b.frame(t + 0.03, make_id(6, kOwn, 0x80), ExamBench::Payload(8, 0x5A));
    }
    const Conclusions all = b.conclude();
    const Fault fault = only(all, "message.jitter-grown");
    CHECK(about(all, fault, {kFirstUnit}));
    CHECK(says(fault, "1 cyclic message "));
    CHECK(fault.start > ExamBench::at(60));
  }
  SECTION("every 250 ms from now on") {
    b.every(0.25, 60, 190, kOwn, 0x80);
    CHECK(none(b.conclude(), "message.jitter-grown"));
  }
  SECTION("on change besides: never later than before") {
    b.every(0.1, 60, 190, kOwn, 0x80);
    b.every(0.4, 60.03, 190, kOwn, 0x80);
    CHECK(none(b.conclude(), "message.jitter-grown"));
  }
}

TEST_CASE("Errors all the time and hardly a frame make the bit rate suspect") {
  SECTION("40 frames, 240 errors") {
    ExamBench b;
    b.claim(1, kFirstUnit, 0x80);
    b.every(1.5, 2, 60, 0xFF80, 0x80);
    for (int i = 0; i < 240; ++i) b.error(1 + i * 0.24, kProtocol, {0, 0, 2, 0, 0, 0, 0, 0});
    const Fault fault = only(b.conclude(), "bus.bit-rate-suspect");
    CHECK(fault.severity == Severity::fault);
    CHECK(says(fault, "240 error frames"));
    CHECK(says(fault, "40 frames"));
  }
  SECTION("as many errors, but the bus works") {
    ExamBench b = two_talkers(60);
    for (int i = 0; i < 240; ++i) b.error(1 + i * 0.24, kProtocol, {0, 0, 2, 0, 0, 0, 0, 0});
    CHECK(none(b.conclude(), "bus.bit-rate-suspect"));
  }
}
