#include "wire/motion.hpp"

#include <catch2/catch.hpp>

#include "wire_frames.hpp"

using namespace tramlog;
using tramlog::test::Frames;
using Data = std::vector<std::uint8_t>;
using Reasons = std::vector<std::string>;

namespace {

constexpr TimeNs kS = kSecond;

struct Bench {
  MotionGuard guard{0};
  Frames frames;
  void hear(double at_s, std::uint32_t id, Data data) {
    guard.take(frames(static_cast<TimeNs>(at_s * 1e9), id, std::move(data)));
  }
  Reasons at(double s) { return guard.reasons_not_to_transmit(static_cast<TimeNs>(s * 1e9)); }
};

Data speed(unsigned raw) {
  return {static_cast<std::uint8_t>(raw), static_cast<std::uint8_t>(raw >> 8), 0, 0, 0, 0, 0xFF, 0xFF};
}

}  // namespace

TEST_CASE("Without three seconds of listening nothing may be sent") {
  Bench b;
  CHECK(b.at(1.2) == Reasons{"listened for 1.2 s only; 3 s are needed"});
  CHECK(b.at(3.0).empty());
  CHECK_FALSE(b.guard.knows_speed(3 * kS));
}

TEST_CASE("Speeds of the tractor, in km/h with their age") {
  Bench b;
  // 2000 x 0.001 m/s = 2 m/s = 7.2 km/h
  SECTION("wheel based") {
    b.hear(9.9, 0x0CFE48F0, speed(2000));
    CHECK(b.at(10) == Reasons{"wheel-based speed is 7.2 km/h (0.1 s ago)"});
  }
  SECTION("ground based") {
    b.hear(9.9, 0x0CFE49F0, speed(2000));
    CHECK(b.at(10) == Reasons{"ground-based speed is 7.2 km/h (0.1 s ago)"});
  }
  SECTION("machine selected") {
    b.hear(9.9, 0x0CF022F0, speed(2000));
    CHECK(b.at(10) == Reasons{"machine selected speed is 7.2 km/h (0.1 s ago)"});
  }
  SECTION("GNSS: bytes 5 and 6, 0.01 m/s") {
    b.hear(9.9, 0x09F8021C, {0xFF, 0xFC, 0x10, 0x27, 200, 0, 0xFF, 0xFF});
    CHECK(b.at(10) == Reasons{"positioning speed is 7.2 km/h (0.1 s ago)"});
  }
  SECTION("GNSS, direction and speed (65256): bytes 3 and 4, 1/256 km/h") {
    b.hear(9.9, 0x18FEE81C, {0, 0, 0x00, 0x0A, 0, 0, 0xFF, 0xFF});  // 2560 / 256
    CHECK(b.at(10) == Reasons{"positioning speed is 10.0 km/h (0.1 s ago)"});
  }
}

TEST_CASE("Standing still is no reason, and is known; the least speed of the wheels is one") {
  Bench b;
  b.hear(9.9, 0x0CFE48F0, speed(0));
  b.hear(9.9, 0x09F8021C, {0xFF, 0xFC, 0, 0, 50, 0, 0xFF, 0xFF});  // 0.5 m/s: drift of a receiver
  CHECK(b.at(10).empty());
  CHECK(b.guard.knows_speed(10 * kS));
  b.hear(10, 0x0CFE48F0, speed(1));                               // 0.0036 km/h
  b.hear(10, 0x09F8021C, {0xFF, 0xFC, 0, 0, 51, 0, 0xFF, 0xFF});  // 1.836 km/h
  CHECK(b.at(10) ==
        Reasons{"wheel-based speed is 0.004 km/h (0.0 s ago)", "positioning speed is 1.8 km/h (0.0 s ago)"});
}

TEST_CASE(
    "What counts on the other buses of the machine too: moving and working, not load, errors and listening") {
  Bench b;
  b.guard.take(b.frames.error(kS, 0x008));
  CHECK(b.at(1.5).size() == 2);  // listened too short, error frame
  CHECK(b.guard.reasons_machine_moves(kS + kS / 2).empty());
  b.hear(1, 0x0CFE48F0, speed(2000));
  b.hear(1, 0x0CCBF780, {0x23, 0x00, 0x8D, 0x00, 1, 0, 0, 0});
  CHECK(b.guard.reasons_machine_moves(2 * kS) ==
        Reasons{"wheel-based speed is 7.2 km/h (1.0 s ago)",
                "work state of address 0x80 is on (told 1.0 s ago)"});
}

TEST_CASE("Error and not-available values and short frames are no speed") {
  Bench b;
  for (const unsigned raw : {0xFB00u, 0xFDFFu, 0xFE00u, 0xFEFFu, 0xFF00u, 0xFFFFu}) {
    b.hear(9, 0x0CFE48F0, speed(2000));
    b.hear(9.9, 0x0CFE48F0, speed(raw));
    CHECK(b.at(10).empty());
    CHECK_FALSE(b.guard.knows_speed(10 * kS));
  }
  b.hear(9.9, 0x0CFE48F0, speed(0xFAFF));  // the largest value: 64.255 m/s = 231.318 km/h
  CHECK(b.at(10) == Reasons{"wheel-based speed is 231.3 km/h (0.1 s ago)"});
  for (const std::uint8_t low : Data{0xFD, 0xFE, 0xFF})
    b.hear(9.9, 0x09F8021C, {0, 0, 0, 0, low, 0xFF, 0xFF, 0xFF});
  CHECK(b.at(10).size() == 1);
  Bench c;
  c.hear(9.9, 0x0CFE48F0, {0xD0});
  c.hear(9.9, 0x09F8021C, {0xFF, 0xFC, 0x10, 0x27, 200});
  c.hear(9.9, 0x0CFE48F0, {});
  CHECK(c.at(10).empty());
}

TEST_CASE("A speed older than five seconds is none; of two senders the faster counts") {
  Bench b;
  b.hear(5, 0x0CFE48F0, speed(2000));
  CHECK(b.at(10).size() == 1);
  CHECK(b.at(10.001).empty());
  b.hear(10, 0x0CFE4803, speed(3000));  // 10.8 km/h
  b.hear(10, 0x0CFE48F0, speed(0));
  CHECK(b.at(10.5) == Reasons{"wheel-based speed is 10.8 km/h (0.5 s ago)"});
}

TEST_CASE("PTO shafts turn: 0.125 rpm a bit") {
  Bench b;
  b.hear(9.9, 0x0CFE43F0, speed(4320));  // 540 rpm
  b.hear(9.9, 0x0CFE44F0, speed(40));    // 5 rpm: none
  CHECK(b.at(10) == Reasons{"rear PTO shaft speed is 540 rpm (0.1 s ago)"});
}

TEST_CASE("A work state stays on until told otherwise") {
  Bench b;
  // Value command 3, element 2: B1 = 2 << 4 | 3; DDI 141 = 8D 00; to the task controller at F7.
  b.hear(8, 0x0CCBF780, {0x23, 0x00, 0x8D, 0x00, 1, 0, 0, 0});
  CHECK(b.at(20) == Reasons{"work state of address 0x80 is on (told 12 s ago)"});
  CHECK(b.at(2000).size() == 1);
  SECTION("off") {
    b.hear(2001, 0x0CCBF780, {0x23, 0x00, 0x8D, 0x00, 0, 0, 0, 0});
    CHECK(b.at(2002).empty());
  }
  SECTION("another element's off does not end it") {
    b.hear(2001, 0x0CCBF780, {0x33, 0x00, 0x8D, 0x00, 0, 0, 0, 0});
    CHECK(b.at(2002).size() == 1);
  }
  SECTION("error and undefined are not on") {
    b.hear(2001, 0x0CCBF780, {0x23, 0x00, 0x8D, 0x00, 2, 0, 0, 0});
    CHECK(b.at(2002).empty());
    b.hear(2003, 0x0CCBF780, {0x23, 0x00, 0x8D, 0x00, 3, 0, 0, 0});
    CHECK(b.at(2004).empty());
  }
  SECTION("a request for the value is not one") {
    b.hear(2001, 0x0CCB80F7, {0x22, 0x00, 0x8D, 0x00, 0, 0, 0, 0});
    CHECK(b.at(2002).size() == 1);
  }
  SECTION("another unit at the address") {
    const Data first{0x01, 0, 0, 0x7D, 0, 0x86, 0, 0xA0}, second{0x02, 0, 0, 0x7D, 0, 0x86, 0, 0xA0};
    b.hear(2001, 0x18EEFF80, first);
    CHECK(b.at(2002).size() == 1);
    b.hear(2003, 0x18EEFF80, first);
    CHECK(b.at(2004).size() == 1);
    b.hear(2005, 0x18EEFF80, second);
    CHECK(b.at(2006).empty());
  }
}

TEST_CASE("Sections of a boom: two bits each in DDI 161 to 176") {
  Bench b;
  // 0x45 = 01 00 01 01: sections 1, 2 and 4 on; all others FF = not installed. DDI 161 = A1 00.
  b.hear(9, 0x0CCBF780, {0x23, 0x00, 0xA1, 0x00, 0x45, 0xFF, 0xFF, 0xFF});
  b.hear(9.5, 0x0CCBF780, {0x23, 0x00, 0xB0, 0x00, 0x01, 0x00, 0x00, 0x00});  // 176: one more
  b.hear(9.5, 0x0CCBF780,
         {0x23, 0x00, 0xA0, 0x00, 0x01, 0x00, 0x00, 0x00});  // 160: section control state, not a section
  b.hear(9.5, 0x0CCBF780, {0x23, 0x00, 0xB1, 0x00, 0x01, 0x00, 0x00, 0x00});  // 177: something else
  CHECK(b.at(10) == Reasons{"4 sections of address 0x80 are on (told 0.5 s ago)"});
  b.hear(11, 0x0CCBF780, {0x23, 0x00, 0xA1, 0x00, 0x00, 0xFF, 0xFF, 0xFF});
  CHECK(b.at(11.25) == Reasons{"1 section of address 0x80 is on (told 1.8 s ago)"});
  // Commands of the task controller to the sections (290 = 22 01) are not their states.
  b.hear(12, 0x0CCB80F7, {0x23, 0x00, 0x22, 0x01, 0x55, 0x55, 0x55, 0x55});
  b.hear(12, 0x0CCBF780, {0x23, 0x00, 0xB0, 0x00, 0x00, 0x00, 0x00, 0x00});
  CHECK(b.at(13).empty());
}

TEST_CASE("More states than can be watched are a reason of their own") {
  Bench b;
  for (unsigned element = 0; element <= MotionGuard::kMaxStates; ++element)
    b.hear(1, 0x0CCBF780 + element / 4000,
           {static_cast<std::uint8_t>(element % 4000 << 4 | 3),
            static_cast<std::uint8_t>(element % 4000 >> 4), 0x8D, 0, 0, 0, 0, 0});
  CHECK(b.at(10).size() == 1);
}

TEST_CASE("Bus load of the last full second") {
  Bench b;
  // Fact sheet 9.2: 0x0CFE48F0 with FF x 8 takes 146 bits, intermission included. 1028 x 146 = 150,088 of
  // 250,000 bits.
  for (unsigned i = 0; i < 1028; ++i) b.hear(4 + i / 1200.0, 0x0CFE48F0, Data(8, 0xFF));
  CHECK(b.at(4.9999).empty());  // second 3 was empty, second 4 is not over
  CHECK(b.guard.load(5 * kS) == Approx(150088.0 / 250000));
  CHECK(b.at(5.5) == Reasons{"bus load 60 %"});
  CHECK(b.at(6.0).empty());
  // 1027 x 146 = 149,942: just below 60 %.
  Bench c;
  for (unsigned i = 0; i < 1027; ++i) c.hear(4 + i / 1200.0, 0x0CFE48F0, Data(8, 0xFF));
  CHECK(c.at(5.5) == Reasons{});
}

TEST_CASE("Error frames within five seconds; states that are better again and lost arbitration are none") {
  Bench b;
  b.guard.take(b.frames.error(10 * kS, 0x00C));  // protocol and controller
  b.guard.take(b.frames.error(11 * kS, 0x088));
  CHECK(b.at(12) == Reasons{"2 error frames in the last 5 s"});
  CHECK(b.at(15.5) == Reasons{"1 error frame in the last 5 s"});
  CHECK(b.at(16.1).empty());
  b.guard.take(b.frames.error(17 * kS, 0x002));
  b.guard.take(b.frames.error(17 * kS, 0x204, {0, 0x40, 0, 0, 0, 0, 0, 0}));  // back to error-active
  b.guard.take(b.frames.error(17 * kS, 0x100));
  CHECK(b.at(18).empty());
  b.guard.take(b.frames.error(17 * kS, 0x204, {0, 0x10, 0, 0, 0, 0, 0, 0x80}));  // receiver passive
  CHECK(b.at(18).size() == 1);
}

TEST_CASE("Own losses and an interface that is down") {
  Bench b;
  const Notice lost = FramesLost{3}, down = LinkChange{LinkState::down}, up = LinkChange{LinkState::up};
  Event event;
  event.kind = EventKind::notice;
  event.time = 10 * kS;
  event.notice = &lost;
  b.guard.take(event);
  CHECK(b.at(10.5) == Reasons{"frames were lost on this side 0.5 s ago"});
  event.notice = &down;
  b.guard.take(event);
  CHECK(b.at(20) == Reasons{"the interface is down"});
  event.notice = &up;
  b.guard.take(event);
  CHECK(b.at(20).empty());
}
