#include "decode/export_database.hpp"

#include <sqlite3.h>

#include <catch2/catch.hpp>
#include <filesystem>

#include "io/table_writer.hpp"
#include "unit/decode/export_bench.hpp"

using namespace tramlog;
using namespace tramlog::export_test;

namespace {

/// What a query gives: fields separated by |, rows by /.
std::string ask(const std::string& path, const std::string& sql) {
  sqlite3* database = nullptr;
  REQUIRE(sqlite3_open_v2(path.c_str(), &database, SQLITE_OPEN_READONLY, nullptr) == SQLITE_OK);
  sqlite3_stmt* statement = nullptr;
  const int prepared = sqlite3_prepare_v2(database, sql.c_str(), -1, &statement, nullptr);
  INFO(sql << ": " << sqlite3_errmsg(database));
  REQUIRE(prepared == SQLITE_OK);
  std::string out;
  while (sqlite3_step(statement) == SQLITE_ROW) {
    if (!out.empty()) out += "/";
    for (int i = 0; i < sqlite3_column_count(statement); ++i) {
      const auto* text = reinterpret_cast<const char*>(sqlite3_column_text(statement, i));
      out += std::string(i > 0 ? "|" : "") + (text == nullptr ? "NULL" : text);
    }
  }
  sqlite3_finalize(statement);
  sqlite3_close(database);
  return out;
}

}  // namespace

TEST_CASE("export: a database with a table a message") {
  Bench bench;
  const std::string path = path_for("export.sqlite");
  auto writer = make_sqlite_writer(path);
  REQUIRE(writer.ok());
  DatabaseExport database(bench.schema, {}, std::nullopt, true, **writer);
  Bench::announce(database, 0, "can0");
  const Talk& speed = bench.talk(bench.speed);
  const Talk& hitch = bench.talk(bench.hitch, 0, 128, "metering front");
  const Talk& other = bench.talk(bench.other_hitch, 0, 128, "metering front");
  const Talk& unknown = bench.talk(nullptr);
  const auto* rate = Bench::signal(bench.speed, "Speed");
  const auto* key = Bench::signal(bench.speed, "KeySwitch");
  const auto* hours = Bench::signal(bench.speed, "Hours");
  Bench::send(database, speed, kTime,
              {Bench::valid(rate, exact(2500, 3)), Bench::coded(key, 1, Validity::valid),
               Bench::valid(hours, exact(12, 0))});
  Reading beyond = Bench::valid(hours, exact(251, 0));
  beyond.validity = Validity::out_of_range;
  Bench::send(
      database, speed, kTime + 1'500'000'000,
      {Bench::without(rate, Validity::not_available, 0xFFFF), Bench::coded(key, 2, Validity::error), beyond});
  Bench::send(database, hitch, kTime, {Bench::valid(Bench::signal(bench.hitch, "source"), exact(9, 0))});
  Bench::send(database, other, kTime,
              {Bench::valid(Bench::signal(bench.other_hitch, "Position"), exact(504, 1))});
  Bench::send(database, unknown, kTime, {});
  const Notice lost = FramesLost{3};
  Event event;
  event.kind = EventKind::notice;
  event.notice = &lost;
  event.time = kTime;
  database.on_event(event);
  REQUIRE((*writer)->finish().ok());
  CHECK(database.rows() == 4);
  CHECK(database.unknown_messages() == 1);

  CHECK(ask(path, "SELECT * FROM WheelSpeed") ==
        "1775542320000000000|can0|240|255|tractor ECU|a00c8a0008400001|42|2.5|12|1/"
        "1775542321500000000|can0|240|255|tractor ECU|a00c8a0008400001|42|NULL|251|NULL");
  CHECK(ask(path, "SELECT typeof(Speed), typeof(Hours), typeof(KeySwitch) FROM WheelSpeed LIMIT 1") ==
        "real|integer|integer");
  CHECK(
      ask(path, "SELECT type FROM pragma_table_info('WheelSpeed') WHERE name IN ('Speed', 'Hours', 'bus')") ==
      "TEXT/REAL/INTEGER");
  CHECK(ask(path, "SELECT KeySwitch FROM WheelSpeed_readable") == "not, quite \"off\"/NULL");
  CHECK(ask(path, "SELECT time, Hours FROM WheelSpeed_readable WHERE Speed IS NULL") ==
        "2026-04-07T06:12:01.500Z|251");
  const std::string sql = ask(path, "SELECT sql FROM sqlite_master WHERE name = 'WheelSpeed'");
  CHECK(sql.find("\"Speed\" REAL,  -- m/s; Speed of the wheels\n") != std::string::npos);
  CHECK(ask(path,
            "SELECT unit, spn, title, minimum, maximum, resolution, period_ms, schema_source, message_name, "
            "signal_name FROM signal WHERE message = 'WheelSpeed' AND signal = 'Speed'") ==
        "m/s|1862|Speed of the wheels|0.0|64.255|0.001|100.0|test.dbc|WheelSpeed|Speed");
  CHECK(ask(path, "SELECT code, text FROM code WHERE message = 'WheelSpeed' AND signal = 'KeySwitch'") ==
        "0|off/1|not, quite \"off\"/2|error/3|not available");
  CHECK(ask(path, "SELECT message, time_ns, bus, source, frame, signal, state, raw FROM doubt") ==
        "WheelSpeed|1775542321500000000|can0|240|42|KeySwitch|error|2/"
        "WheelSpeed|1775542321500000000|can0|240|42|Hours|out-of-range|251");
  CHECK(ask(path, "SELECT kind, frames_lost FROM event") == "frames-lost|3");

  // Names that a database takes for one.
  CHECK(ask(path, "SELECT source_2, source FROM Hitch") == "9|128");
  CHECK(ask(path, "SELECT Position FROM HITCH_2") == "50.4");
  CHECK(ask(path, "SELECT message_name FROM signal WHERE message = 'HITCH_2'") == "HITCH");
  CHECK(ask(path, "SELECT signal_name FROM signal WHERE signal = 'source_2'") == "source");
  CHECK(database.notes().size() == 2);

  CHECK(ask(path,
            "EXPLAIN QUERY PLAN SELECT Speed FROM WheelSpeed WHERE time_ns >= 1775542320000000000 AND "
            "time_ns < 1775542321000000000")
            .find("USING INDEX WheelSpeed by time_ns (time_ns>? AND time_ns<?)") != std::string::npos);
  std::filesystem::remove(path);
}

TEST_CASE("export: chosen signals and other units in a database") {
  Bench bench;
  Paper paper;
  const auto units = UnitChoice::all(UnitSystem::metric);
  DatabaseExport database(bench.schema, bench.columns({"WheelSpeed.Speed"}), units, false, paper);
  const Talk& talk = bench.talk(bench.speed);
  Bench::send(database, talk, kTime,
              {Bench::valid(Bench::signal(bench.speed, "Speed"), exact(2500, 3)),
               Bench::valid(Bench::signal(bench.speed, "Hours"), exact(1, 0))});
  REQUIRE(paper.tables.size() == 5);  // no events
  CHECK(paper.heading(4) == "time_ns,bus,source,destination,controller,name,frame,Speed [km/h]");
  REQUIRE(paper.rows.size() == 2);
  CHECK(paper.rows[1] == "WheelSpeed:0||240|255|tractor ECU|a00c8a0008400001|42|9.000");
}

TEST_CASE("export: unsigned numbers of 64 bits keep every digit") {
  Bench bench(R"(VERSION ""
BO_ 2365475326 Wide: 8 Anybody
 SG_ Whole : 0|64@1+ (1,0) [0|18446744073709551615] "" Anybody

BO_ 2365475582 Signed: 8 Anybody
 SG_ Less : 0|64@1- (1,0) [0|0] "" Anybody

CM_ SG_ 2365475326 Whole "All of it.";
)");
  const MessageSpec *wide = bench.find("Wide"), *less = bench.find("Signed");
  const auto* whole = Bench::signal(wide, "Whole");
  const std::string path = path_for("wide.sqlite");
  auto writer = make_sqlite_writer(path);
  REQUIRE(writer.ok());
  DatabaseExport database(bench.schema, {}, std::nullopt, true, **writer);
  const Talk& talk = bench.talk(wide);
  Bench::send(database, talk, kTime, {Bench::valid(whole, exact(11'533'718'836'325'023'745U, 0))});
  Bench::send(database, talk, kTime, {Bench::valid(whole, exact(7, 0))});
  Bench::send(database, talk, kTime, {Bench::without(whole, Validity::not_available)});
  Bench::send(database, bench.talk(less), kTime,
              {Bench::valid(Bench::signal(less, "Less"), exact(9'007'199'254'740'993, 0, true))});
  REQUIRE((*writer)->finish().ok());
  CHECK(ask(path, "SELECT Whole, typeof(Whole) FROM Wide") == "11533718836325023745|text/7|text/NULL|null");
  CHECK(ask(path, "SELECT Less, typeof(Less) FROM Signed") == "-9007199254740993|integer");
  CHECK(ask(path, "SELECT sql FROM sqlite_master WHERE name = 'Wide'")
            .find("\"Whole\" TEXT  -- All of it; unsigned, 64 bits: as decimal text") != std::string::npos);
  std::filesystem::remove(path);

  // The same in a series of steps, where a mean is no such number.
  const std::string steps_path = path_for("wide-steps.sqlite");
  auto steps_writer = make_sqlite_writer(steps_path);
  REQUIRE(steps_writer.ok());
  SeriesExport series(bench.columns({"Whole"}), stepped(kSecond, {Take::max, Take::mean}), **steps_writer);
  Bench::send(series, talk, kTime, {Bench::valid(whole, exact(UINT64_MAX, 0))});
  series.finish();
  REQUIRE((*steps_writer)->finish().ok());
  CHECK(ask(steps_path, "SELECT \"Whole max\", typeof(\"Whole mean\") FROM series") ==
        "18446744073709551615|real");
  std::filesystem::remove(steps_path);
}

TEST_CASE("export: what no signal holds, and what process data means") {
  Bench bench(R"(VERSION ""
BO_ 2362179582 ProcessData: 8 Anybody
 SG_ Command : 0|4@1+ (1,0) [0|15] "" Anybody
 SG_ Ddi : 16|16@1+ (1,0) [0|65535] "" Anybody
 SG_ value : 32|32@1- (1,0) [0|0] "" Anybody
)");
  const MessageSpec* data_message = bench.find("ProcessData");
  const std::string path = path_for("remark.sqlite");
  auto writer = make_sqlite_writer(path);
  REQUIRE(writer.ok());
  // The value of a DDI brings all signals, though one is named as well.
  DatabaseExport database(bench.schema, bench.columns({"ddi:7", "Ddi"}), UnitChoice::all(UnitSystem::us),
                          false, **writer);
  Bench::announce(database, 0, "can0");
  const Talk& talk = bench.talk(data_message, 0, 131, "sprayer");
  // Element 0x123, value (3), DDI 7, 112085 x 0.1 mg/m2: 11208.5 mg/m2 are 0.0112085 kg/m2, and a pound an
  // acre is 0.45359237 kg on 4046.8564224 m2: 99.9999...
  std::vector<std::uint8_t> bytes{0x33, 0x12, 0x07, 0x00, 0xD5, 0xB5, 0x01, 0x00};
  Bench::send(database, talk, kTime, {Bench::valid(Bench::signal(data_message, "Command"), exact(3, 0))},
              bytes, {{"value", "it's\nso"}, {"and", "more"}});
  bytes[0] = 0x3A;  // set value and acknowledge
  Bench::send(database, talk, kTime + 1, {}, bytes);
  bytes[0] = 0x34;  // interval in ms: no value
  Bench::send(database, talk, kTime + 2, {}, bytes);
  bytes = {0x33, 0x12, 0x01, 0x02, 0xFF, 0xFF, 0xFF, 0xFF};  // DDI 513, -1, not in the dictionary
  Bench::send(database, talk, kTime + 3, {}, bytes);
  bytes.pop_back();
  Bench::send(database, talk, kTime + 4, {}, bytes);
  REQUIRE((*writer)->finish().ok());
  CHECK(ask(path, "SELECT ddi_name, round(value, 1), unit FROM ProcessData ORDER BY time_ns") ==
        "Actual Rate|100.0|lb/ac/Actual Rate|100.0|lb/ac/NULL|NULL|NULL/NULL|-1.0|NULL/NULL|NULL|NULL");
  CHECK(ask(path, "SELECT name FROM pragma_table_info('ProcessData') WHERE cid >= 7") ==
        "ddi_name/value/unit/Command/Ddi/value_2");
  CHECK(ask(path, "SELECT Command FROM ProcessData LIMIT 1") == "3");
  CHECK(ask(path, "SELECT * FROM remark") ==
        "ProcessData|1775542320000000000|can0|131|sprayer|42|value|it's\nso/"
        "ProcessData|1775542320000000000|can0|131|sprayer|42|and|more");
  CHECK(ask(path, "EXPLAIN QUERY PLAN SELECT text FROM remark WHERE time_ns > 5")
            .find("USING INDEX remark by time_ns") != std::string::npos);
  std::filesystem::remove(path);
}

TEST_CASE("export: signals that find no room stand in the table signal without a column") {
  std::string dbc = "VERSION \"\"\nBO_ 2365475326 Crowd: 500 Anybody\n";
  for (int i = 0; i < 4000; ++i)
    dbc += " SG_ S" + std::to_string(i) + " : " + std::to_string(i) + "|1@1+ (1,0) [0|1] \"\" Anybody\n";
  Bench bench(dbc);
  const MessageSpec* crowd = bench.find("Crowd");
  REQUIRE(crowd->signals.size() == 4000);
  const std::string path = path_for("crowd.sqlite");
  auto writer = make_sqlite_writer(path);
  REQUIRE(writer.ok());
  DatabaseExport database(bench.schema, {}, std::nullopt, false, **writer);
  Bench::send(database, bench.talk(crowd), kTime,
              {Bench::valid(Bench::signal(crowd, "S1989"), exact(1, 0)),
               Bench::valid(Bench::signal(crowd, "S1990"), exact(1, 0))});
  REQUIRE((*writer)->finish().ok());
  CHECK(ask(path, "SELECT S1989 FROM Crowd") == "1");
  CHECK(ask(path, "SELECT count(*), count(signal), count(signal_name) FROM signal WHERE message = 'Crowd'") ==
        "4000|1990|4000");
  CHECK(ask(path, "SELECT signal_name FROM signal WHERE signal IS NULL ORDER BY rowid LIMIT 1") == "S1990");
  REQUIRE(database.notes().size() == 1);
  CHECK(database.notes()[0].what.find("2010 signals") == 0);
  CHECK(database.notes()[0].remedy.find("--signal") != std::string::npos);
  std::filesystem::remove(path);
}

TEST_CASE("export: single frames of broken transfers are no unknown messages") {
  Bench bench;
  Paper paper;
  DatabaseExport database(bench.schema, {}, std::nullopt, false, paper);
  Talk& talk = bench.talk(nullptr);
  talk.piece = true;
  Bench::send(database, talk, kTime, {});
  CHECK(database.unknown_messages() == 0);
  CHECK(database.loose_frames() == 1);
}

TEST_CASE("export: names kept for the database itself") {
  NameSet names{"Taken"};
  CHECK(names.take("free") == "free");
  CHECK(names.take("FREE") == "FREE_2");
  CHECK(names.take("free") == "free_3");
  CHECK(names.take("taken") == "taken_2");
  CHECK(names.take("SQLite_stat1") == "x_SQLite_stat1");
  CHECK(names.take("") == "x_");
}
