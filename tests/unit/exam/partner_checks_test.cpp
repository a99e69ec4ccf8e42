// Terminals, task controllers and file servers that are lost or never there, and clients that leave them.
#include "unit/exam/check_bench.hpp"

using namespace tramlog;

namespace {

const Name kTerminal = ExamBench::unit(30, 0, 29), kTaskController = ExamBench::unit(31, 0, 130),
           kFileServer = ExamBench::unit(32, 0, 82);
constexpr Address kTerminalAddress = 0x26, kServerAddress = 0xF7;

/// A message each `period` from `from` to `to`, but not in the hole.
void with_hole(ExamBench& b, double period, double from, double to, std::pair<double, double> hole,
               std::uint32_t id, ExamBench::Payload payload) {
  for (int i = 0; from + i * period < to; ++i)
    if (const double t = from + i * period; t < hole.first || t >= hole.second) b.frame(t, id, payload);
}
void own_talk(ExamBench& b, Address source, std::pair<double, double> hole) {
  b.talks(0.5, std::min(hole.first, 100.0), source);
  b.talks(hole.second, 100, source);
}

constexpr std::pair<double, double> kNever{200, 200};

/// A terminal with one working set at 0x80; its status, all of it, or the working set's maintenance pause.
ExamBench terminal(std::pair<double, double> status, std::pair<double, double> whole,
                   std::pair<double, double> client) {
  ExamBench b = two_talkers(100);
  b.claim(0.03, kTerminal, kTerminalAddress);
  own_talk(b, kTerminalAddress, whole);
  const std::pair<double, double> hole = whole.first < 200 ? whole : status;
  with_hole(b, 1, 1, 100, hole, make_id(7, 0xE600, kTerminalAddress, 0xFF), {0xFE, 0x80, 1, 0, 2, 0, 0, 0});
  with_hole(b, 1, 1.3, 100, client, make_id(7, 0xE700, 0x80, kTerminalAddress),
            {0xFF, 0, 3, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
  return b;
}

}  // namespace

TEST_CASE("A terminal that is lost is told with its working set") {
  SECTION("all of it") {
    const Conclusions all = terminal(kNever, {40, 52}, kNever).conclude();
    const Fault fault = only(all, "terminal.lost");
    CHECK(about(all, fault, {kTerminal, kFirstUnit}));
    CHECK(says(fault, "was not heard"));
    CHECK(says(fault, "working set"));
    CHECK(near(fault.start, 40, 1.1));
    CHECK(near(*fault.end, 52, 1.1));
  }
  SECTION("its status alone, told once") {
    const Conclusions all = terminal({40, 52}, kNever, kNever).conclude();
    CHECK(says(only(all, "terminal.lost"), "its status was missing"));
    CHECK(none(all, "controller.message-stopped"));
  }
}

TEST_CASE("A terminal that pauses for less than its partners wait is not lost") {
  const Conclusions all = terminal({40.5, 43}, kNever, kNever).conclude();
  CHECK(none(all, "terminal.lost"));
}

TEST_CASE("A working set that stops its maintenance while both live has timed out") {
  const Conclusions all = terminal(kNever, kNever, {60, 150}).conclude();
  const Fault fault = only(all, "client.timed-out");
  CHECK(about(all, fault, {kFirstUnit, kTerminal}));
  CHECK(near(fault.start, 59.3, 1.1));
  CHECK(none(all, "controller.message-stopped"));
}

TEST_CASE("A working set whose terminal is lost, or that goes over to another one, has not") {
  SECTION("terminal lost") {
    CHECK(none(terminal(kNever, {60, 90}, {60, 150}).conclude(), "client.timed-out"));
  }
  SECTION("another terminal") {
    ExamBench b = terminal(kNever, kNever, {60, 150});
    b.claim(0.04, ExamBench::unit(33, 0, 29, 1), 0x27);
    with_hole(b, 1, 61, 100, kNever, make_id(7, 0xE700, 0x80, 0x27),
              {0xFF, 0, 3, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
    for (double t = 1.5; t < 100; t += 1)
      b.frame(t, make_id(7, 0xE600, 0x27, 0xFF), {0xFE, 0x80, 1, 0, 2, 0, 0, 0});
    CHECK(none(b.conclude(), "client.timed-out"));
  }
}

TEST_CASE("A task controller or file server that is lost; a pause of 4 s is none") {
  struct Kind {
    Name name;
    Pgn status, client;
    std::uint8_t first;
    const char* code;
  };
  for (const Kind& kind : {Kind{kTaskController, 0xCB00, 0xCB00, 0xFE, "task-controller.lost"},
                           Kind{kFileServer, 0xAB00, 0xAA00, 0x00, "file-server.lost"}}) {
    CAPTURE(kind.code);
    for (const double back : {42.0, 55.0}) {
      ExamBench b = two_talkers(100);
      b.claim(0.03, kind.name, kServerAddress);
      const std::pair<double, double> hole{40, back};
      with_hole(b, 2, 1, 100, hole, make_id(3, kind.status, kServerAddress, 0xFF),
                {kind.first, 0, 0, 0, 0, 0, 0, 0xFF});
      with_hole(b, 2, 1.3, 100, kNever, make_id(3, kind.client, 0x80, kServerAddress),
                {0xFF, 0xFF, 0xFF, 0xFF, 0, 0, 0, 0});
      const Conclusions all = b.conclude();
      if (back < 50) {
        CHECK(none(all, kind.code));
      } else {
        const Fault fault = only(all, kind.code);
        CHECK(about(all, fault, {kind.name, kFirstUnit}));
        CHECK(near(fault.start, 39, 0.3));
      }
    }
  }
}

TEST_CASE("A client of task controllers where there is none") {
  ExamBench b = two_talkers(100);
  b.frame(5, make_id(6, 0xFC8E, 0x80),
          {0xFF, 1, 8, 1, 0, 0xFF, 0xFF, 0xFF});  // functionality 8: TC-BAS client
  SECTION("none") {
    const Conclusions all = b.conclude();
    const Fault fault = only(all, "task-controller.never-there");
    CHECK(fault.severity == Severity::note);
    CHECK(about(all, fault, {kFirstUnit}));
  }
  SECTION("one claims, if late") {
    b.claim(40, kTaskController, kServerAddress);
    CHECK(none(b.conclude(), "task-controller.never-there"));
  }
  SECTION("a status without a claim") {
    for (double t = 1; t < 100; t += 2)
      b.frame(t, make_id(3, 0xCB00, kServerAddress, 0xFF), {0xFE, 0xFF, 0xFF, 0xFF, 0, 0, 0, 0xFF});
    CHECK(none(b.conclude(), "task-controller.never-there"));
  }
}

TEST_CASE("A client built for a higher version than its terminal has") {
  ExamBench b = terminal(kNever, kNever, kNever);  // maintenance says version 3
  SECTION("version 2") {
    b.frame(2, make_id(7, 0xE600, kTerminalAddress, 0x80), {0xC0, 2, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
    const Conclusions all = b.conclude();
    const Fault fault = only(all, "device.version-mismatch");
    CHECK(about(all, fault, {kFirstUnit, kTerminal}));
    CHECK(says(fault, "version 3"));
    CHECK(says(fault, "has version 2"));
  }
  SECTION("version 3, and an answer to somebody else") {
    b.frame(2, make_id(7, 0xE600, kTerminalAddress, 0x80), {0xC0, 3, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
    b.frame(3, make_id(7, 0xE600, kTerminalAddress, 0x81), {0xC0, 2, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
    CHECK(none(b.conclude(), "device.version-mismatch"));
  }
}
