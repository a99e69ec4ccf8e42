#include "implement/machine_state.hpp"

#include <catch2/catch.hpp>

#include "unit/implement/machine_bench.hpp"

using namespace tramlog;

namespace {

bool take(MachineState& state, double t_s, Pgn pgn, const Payload& payload, Address source = 0xF0) {
  Message message;
  message.pgn = pgn;
  message.source = source;
  message.start = message.end = MachineBench::time(t_s);
  message.first_frame = 7;
  message.data = payload;
  return state.take(message);
}
std::optional<double> at(const MachineState& state, double t_s) {
  return state.speed_mm_s(MachineBench::time(t_s));
}

}  // namespace

TEST_CASE("speeds are read from the bytes of each source", "[machine-state]") {
  MachineState state;
  REQUIRE_FALSE(at(state, 0));
  REQUIRE(take(state, 0, 0xFE48, {0xC4, 0x09, 0, 0, 0, 0, 0xFF, 0xF5}));  // 2500
  REQUIRE(state.reading(SpeedSource::wheel)->mm_s == 2500.0);
  REQUIRE(take(state, 0, 0xFE48, {0xC4, 0x09, 0, 0, 0, 0, 0xFF, 0xF4}));  // backwards: the same speed
  REQUIRE(state.reading(SpeedSource::wheel)->mm_s == 2500.0);
  REQUIRE(take(state, 0, 0xFE49, {0x60, 0x09, 0, 0, 0, 0, 0xFF, 0xFD}));  // 2400
  REQUIRE(state.reading(SpeedSource::ground)->mm_s == 2400.0);
  REQUIRE(take(state, 0, 129026, {1, 0xFC, 0, 0, 0xF4, 0x01, 0xFF, 0xFF}));  // 500 x 0.01 m/s
  REQUIRE(state.reading(SpeedSource::positioning)->mm_s == 5000.0);
  MachineState older;
  REQUIRE(take(older, 0, 0xFEE8, {0, 0, 0x00, 0x09, 0, 0, 0, 0}));  // 2304 / 256 = 9 km/h
  REQUIRE(*older.reading(SpeedSource::positioning)->mm_s == Approx(2500.0));
  REQUIRE_FALSE(take(state, 0, 0xFE48, {0xC4, 0x09, 0}));  // too short
  REQUIRE_FALSE(take(state, 0, 0xFE4A, speed_bytes(1)));
}

TEST_CASE("what is no number is no speed", "[machine-state]") {
  for (const auto& [raw, valid, error] : {std::tuple{0xFAFFU, true, false},
                                          {0xFB00U, false, false},
                                          {0xFDFFU, false, false},
                                          {0xFE00U, false, true},
                                          {0xFEFFU, false, true},
                                          {0xFF00U, false, false},
                                          {0xFFFFU, false, false}}) {
    INFO(raw);
    MachineState state;
    take(state, 0, 0xFE48, speed_bytes(raw));
    REQUIRE(state.reading(SpeedSource::wheel)->mm_s.has_value() == valid);
    REQUIRE(state.reading(SpeedSource::wheel)->in_error == error);
    REQUIRE(at(state, 0).has_value() == valid);
  }
  // 129026 has three codes of its own at the end.
  for (const auto& [raw, valid, error] : {std::tuple{0xFFFCU, true, false},
                                          {0xFFFDU, false, false},
                                          {0xFFFEU, false, true},
                                          {0xFFFFU, false, false}}) {
    INFO(raw);
    MachineState state;
    take(state, 0, 129026, course_bytes(raw));
    REQUIRE(state.reading(SpeedSource::positioning)->mm_s.has_value() == valid);
    REQUIRE(state.reading(SpeedSource::positioning)->in_error == error);
  }
}

TEST_CASE("the best valid and recent source counts", "[machine-state]") {
  MachineState state;
  take(state, 0, 129026, course_bytes(100));  // 1.00 m/s
  REQUIRE(at(state, 0) == 1000.0);
  take(state, 0, 0xFE48, speed_bytes(1100));
  REQUIRE(at(state, 0) == 1100.0);
  take(state, 0, 0xFE49, speed_bytes(1200));
  REQUIRE(at(state, 0) == 1200.0);
  take(state, 0, 0xF022, speed_bytes(1300));
  REQUIRE(at(state, 0) == 1300.0);
  take(state, 0.5, 0xF022, speed_bytes(0xFFFF));  // says that it has none
  REQUIRE(at(state, 0.5) == 1200.0);
  REQUIRE(state.source(MachineBench::time(0.5)) == SpeedSource::ground);
  REQUIRE(at(state, 1.5) == 1200.0);
  REQUIRE_FALSE(at(state, 1.6));  // older than 1.5 s
}

TEST_CASE("of several senders the first counts until it is quiet for 5 s", "[machine-state]") {
  MachineState state;
  REQUIRE(take(state, 0, 0xFE48, speed_bytes(1000), 0xF0));
  REQUIRE_FALSE(take(state, 0.1, 0xFE48, speed_bytes(2000), 0xF1));
  REQUIRE(take(state, 4, 0xFE48, speed_bytes(1010), 0xF0));
  REQUIRE_FALSE(take(state, 8.9, 0xFE48, speed_bytes(2000), 0xF1));
  REQUIRE(take(state, 9.0, 0xFE48, speed_bytes(2000), 0xF1));
  REQUIRE_FALSE(take(state, 9.1, 0xFE48, speed_bytes(1020), 0xF0));
  REQUIRE(at(state, 9.1) == 2000.0);
  // Two kinds of positioning speed are two senders as well.
  REQUIRE(take(state, 0, 129026, course_bytes(100), 0x1C));
  REQUIRE_FALSE(take(state, 0.2, 0xFEE8, {0, 0, 0, 9, 0, 0, 0, 0}, 0x1C));
}

TEST_CASE("a receiver without a value does not keep out one with a value", "[machine-state]") {
  MachineState state;
  for (int i = 0; i <= 60; ++i) {
    take(state, i * 0.2, 129026, course_bytes(0xFFFF), 0x1C);
    take(state, i * 0.2 + 0.05, 129026, course_bytes(250), 0x1D);
  }
  REQUIRE(at(state, 12.1) == 2500.0);
}

TEST_CASE("clocks that step leave no sender out", "[machine-state]") {
  MachineState state;
  REQUIRE(take(state, 100, 0xFE48, speed_bytes(1000), 0xF0));
  REQUIRE(take(state, 10, 0xFE48, speed_bytes(2000), 0xF0));
  REQUIRE(at(state, 10) == 2000.0);
  REQUIRE(take(state, 1, 0xFE48, speed_bytes(3000), 0xF1));
  REQUIRE_FALSE(state.speed_mm_s(INT64_MAX));
  REQUIRE_FALSE(state.speed_mm_s(INT64_MIN));
}
