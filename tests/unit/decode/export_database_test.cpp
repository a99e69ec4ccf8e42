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
  REQUIRE(paper.tables.size() == 4);  // no events
  CHECK(paper.heading(3) == "time_ns,bus,source,destination,controller,name,frame,Speed [km/h]");
  REQUIRE(paper.rows.size() == 2);
  CHECK(paper.rows[1] == "WheelSpeed:0||240|255|tractor ECU|a00c8a0008400001|42|9.000");
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
