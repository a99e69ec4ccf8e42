// Requests without an answer, refusals, transfers that fail again and again.
#include "unit/exam/check_bench.hpp"

using namespace tramlog;

namespace {

constexpr Pgn kEcu = 0xFDC5;

void refuse(ExamBench& b, double seconds, std::uint8_t control, Pgn pgn) {
  b.frame(seconds, make_id(6, 0xE800, 0x80, 0xFF),
          {control, 0xFF, 0xFF, 0xFF, 0x81, static_cast<std::uint8_t>(pgn),
           static_cast<std::uint8_t>(pgn >> 8), 0});
}
void answer(ExamBench& b, double seconds) {
  b.frame(seconds, make_id(6, kEcu, 0x80), {'A', '1', '*', '*', '*', '*', '*', 0xFF});
}
/// A broadcast of 20 bytes of which only the first packet comes.
void broken_transfer(ExamBench& b, double seconds, Address source) {
  b.frame(seconds, make_id(7, 0xEC00, source, 0xFF), {32, 20, 0, 3, 0xFF, 0x10, 0xFF, 0});
  b.frame(seconds + 0.06, make_id(7, 0xEB00, source, 0xFF), {1, 1, 2, 3, 4, 5, 6, 7});
}

}  // namespace

TEST_CASE("Three requests without an answer of a controller that lives") {
  ExamBench b = two_talkers(60);
  for (const double t : {10.0, 20.0, 30.0}) b.ask(t, kEcu, 0x81, 0x80);
  SECTION("never answered: it may not know the group") {
    const Conclusions all = b.conclude();
    const Fault fault = only(all, "request.unanswered");
    CHECK(fault.severity == Severity::note);
    CHECK(about(all, fault, {kFirstUnit}));
    CHECK(says(fault, "3 of 3 requests for PGN 64965"));
    CHECK(says(fault, "129 (0x81)"));
    CHECK(near(fault.start, 10));
    CHECK(near(*fault.end, 30));
  }
  SECTION("answered once before") {
    b.ask(5, kEcu, 0x81, 0x80);
    answer(b, 5.1);
    const Fault fault = only(b.conclude(), "request.unanswered");
    CHECK(fault.severity == Severity::warning);
    CHECK(says(fault, "3 of 4 requests"));
  }
}

TEST_CASE("Answered, refused, asked of somebody who is gone, or asked twice only: not unanswered") {
  SECTION("answered in time, the last one by a transfer") {
    ExamBench b = two_talkers(60);
    for (const double t : {10.0, 20.0, 30.0}) b.ask(t, kEcu, 0x81, 0x80);
    answer(b, 10.1);
    answer(b, 21.1);
    b.frame(30.1, make_id(7, 0xEC00, 0x80, 0x81), {16, 20, 0, 3, 0xFF, 0xC5, 0xFD, 0});
    CHECK(none(b.conclude(), "request.unanswered"));
  }
  SECTION("refused") {
    ExamBench b = two_talkers(60);
    for (const double t : {10.0, 20.0, 30.0}) {
      b.ask(t, kEcu, 0x81, 0x80);
      refuse(b, t + 0.1, 1, kEcu);
    }
    CHECK(none(b.conclude(), "request.unanswered"));
  }
  SECTION("gone") {
    ExamBench b = two_talkers(60, {{8, 50}});
    for (const double t : {10.0, 20.0, 30.0}) b.ask(t, kEcu, 0x81, 0x80);
    CHECK(none(b.conclude(), "request.unanswered"));
  }
  SECTION("twice") {
    ExamBench b = two_talkers(60);
    for (const double t : {10.0, 20.0}) b.ask(t, kEcu, 0x81, 0x80);
    CHECK(none(b.conclude(), "request.unanswered"));
  }
  SECTION("the recorder lost frames then") {
    ExamBench b = two_talkers(60);
    for (const double t : {10.0, 20.0, 30.0}) {
      b.ask(t, kEcu, 0x81, 0x80);
      b.notice(t + 0.5, FramesLost{3});
    }
    CHECK(none(b.conclude(), "request.unanswered"));
  }
}

TEST_CASE("Refusals in series: busy or denied are warnings, not supported is a note") {
  ExamBench b = two_talkers(60);
  const auto ask_all = [&](std::uint8_t control, std::initializer_list<double> times) {
    for (const double t : times) {
      b.ask(t, kEcu, 0x81, 0x80);
      refuse(b, t + 0.1, control, kEcu);
    }
  };
  SECTION("busy") {
    ask_all(3, {10, 20, 30});
    const Conclusions all = b.conclude();
    const Fault fault = only(all, "request.refused");
    CHECK(fault.severity == Severity::warning);
    CHECK(about(all, fault, {kFirstUnit}));
    CHECK(says(fault, "refused 3 of 3 requests"));
    CHECK(says(fault, "control byte 3"));
  }
  SECTION("not supported") {
    ask_all(1, {10, 20, 30});
    CHECK(only(b.conclude(), "request.refused").severity == Severity::note);
  }
  SECTION("twice") {
    ask_all(3, {10, 20});
    CHECK(none(b.conclude(), "request.refused"));
  }
  SECTION("acknowledged") {
    ask_all(0, {10, 20, 30});
    CHECK(none(b.conclude(), "request.refused"));
  }
}

TEST_CASE("Three failed transfers of one sender are a series") {
  SECTION("three") {
    ExamBench b = two_talkers(60);
    for (const double t : {10.0, 20.0, 30.0}) broken_transfer(b, t, 0x80);
    const Conclusions all = b.conclude();
    const Fault fault = only(all, "transfer.series");
    CHECK(about(all, fault, {kFirstUnit}));
    CHECK(says(fault, "3 transfers from"));
    CHECK(says(fault, "3 timed-out"));
  }
  SECTION("two, and one of another") {
    ExamBench b = two_talkers(60);
    for (const double t : {10.0, 20.0}) broken_transfer(b, t, 0x80);
    broken_transfer(b, 30, 0x81);
    CHECK(none(b.conclude(), "transfer.series"));
  }
  SECTION("cut off by its own dropouts") {
    ExamBench b = two_talkers(70, {{10.2, 14}, {30.2, 34}, {50.2, 54}});
    for (const double t : {10.1, 30.1, 50.1}) broken_transfer(b, t, 0x80);
    const Conclusions all = b.conclude();
    CHECK(all.dropouts.size() == 3);
    CHECK(none(all, "transfer.series"));
  }
}
