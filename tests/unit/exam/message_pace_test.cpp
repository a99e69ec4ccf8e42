// Whether a cyclic message runs at the period that the schema gives.
#include <catch2/catch.hpp>

#include "bench.hpp"

namespace tramlog {
namespace {

constexpr const char* kCode = "message.pace";
constexpr Pgn kWheelSpeed = 0xFE48;  // 100 ms in dbc/tractor.dbc
constexpr Pgn kRearPto = 0xFE43;     // 100 ms while engaged
constexpr Address kTractor = 0xF0;

Conclusions run(double period, Pgn pgn, const Schema& schema = Schema::built_in()) {
  ExamBench bench;
  bench.claim(0.3, ExamBench::unit(7, 0, 134), kTractor);
  bench.every(period, 1, 61, pgn, kTractor, {0x10, 0x27, 1, 2, 3, 4, 0xFF, 0xFF});
  bench.statistics(0, 62);
  Examiner examiner(schema);
  const std::vector<Event> events = bench.events();
  examiner.take(events);
  return examiner.conclude();
}

}  // namespace

TEST_CASE("a message at its nominal pace, or up to twice the period, is nothing to tell") {
  for (const double period : {0.02, 0.1, 0.09, 0.15, 0.2}) {
    CAPTURE(period);
    CHECK(faults_of(run(period, kWheelSpeed), kCode).empty());
  }
}

TEST_CASE("a slow message is a note, one beyond five periods a warning") {
  const auto slow = faults_of(run(0.3, kWheelSpeed), kCode);
  REQUIRE(slow.size() == 1);
  CHECK(slow[0].severity == Severity::note);
  CHECK(slow[0].controllers.size() == 1);
  CHECK_THAT(slow[0].text, Catch::Contains("WheelBasedSpeedDist, PGN 65096 (0xFE48), every 300 ms") &&
                               Catch::Contains("its nominal period is 100 ms"));
  const auto lame = faults_of(run(0.6, kWheelSpeed), kCode);
  REQUIRE(lame.size() == 1);
  CHECK(lame[0].severity == Severity::warning);
}

TEST_CASE("a message that runs only while something is active has no pace to keep") {
  CHECK(faults_of(run(1.0, kRearPto), kCode).empty());
}

TEST_CASE("a user's period counts for the user's message") {
  Schema schema = Schema::with_built_in();
  DbcFile file = parse_dbc(
      "BO_ 2566856702 MeterState: 8 Meter\n"
      " SG_ Turns : 0|16@1+ (1,0) [0|64255] \"\" Anybody\n"
      "BA_DEF_ BO_ \"GenMsgCycleTime\" INT 0 65535;\n"
      "BA_DEF_DEF_ \"GenMsgCycleTime\" 0;\n"
      "BA_ \"GenMsgCycleTime\" BO_ 2566856702 250;\n",
      "drill.dbc");  // 0x98FF1FFE: bit 31, priority 6, PGN 0xFF1F
  check_dbc(file);
  REQUIRE(file.problems.empty());
  schema.add(std::move(file));
  CHECK(faults_of(run(0.25, 0xFF1F, schema), kCode).empty());
  const auto slow = faults_of(run(1.0, 0xFF1F, schema), kCode);
  REQUIRE(slow.size() == 1);
  CHECK_THAT(slow[0].text, Catch::Contains("MeterState") && Catch::Contains("its nominal period is 250 ms"));
  CHECK(faults_of(run(1.0, 0xFF1F), kCode).empty());
}

}  // namespace tramlog
