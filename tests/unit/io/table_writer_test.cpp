#include "io/table_writer.hpp"

#include <sqlite3.h>
#include <sys/resource.h>
#include <unistd.h>

#include <catch2/catch.hpp>
#include <csignal>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <limits>

#include "capture_bytes.hpp"

using namespace tramlog;
using tramlog::test::TemporaryFolder;
namespace fs = std::filesystem;

namespace {

using Maker = Result<std::unique_ptr<TableWriter>> (*)(const std::string&);

std::string bytes_of(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

Number exact(std::uint64_t magnitude, std::uint8_t decimals, bool negative = false) {
  Number number;
  number.magnitude = magnitude;
  number.decimals = decimals;
  number.negative = negative;
  return number;
}

Number real(double value) {
  Number number;
  number.kind = Number::Kind::real;
  number.real = value;
  return number;
}

/// Time, integer, real with a unit, text.
Table sample() {
  Table table;
  table.name = "Speed";
  table.columns = {{"time", Column::Type::time, "", "", true, {}},
                   {"source", Column::Type::integer, "", "", false, {}},
                   {"WheelBasedSpeed", Column::Type::real, "m/s", "from the wheels\nonly", false, {}},
                   {"text", Column::Type::text, "", "", false, {}}};
  table.comment = "SPN 1862";
  table.view = "Speed readable";
  return table;
}

// 2026-04-07T06:12:00Z is 1775542320 s after 1970.
constexpr TimeNs kTime = 1'775'542'320 * kSecond;

std::string written(Maker make, const std::vector<std::vector<Cell>>& rows) {
  const TemporaryFolder folder;
  const std::string path = folder.write("out", "old");
  auto writer = make(path);
  REQUIRE(writer.ok());
  const TableId table = (*writer)->add_table(sample());
  for (const auto& row : rows) (*writer)->row(table, row);
  CHECK(bytes_of(path) == "old");  // untouched until the new one is whole
  REQUIRE((*writer)->finish().ok());
  CHECK(!fs::exists(path + ".part"));
  return bytes_of(path);
}

/// What a query gives: fields separated by |, rows by /.
class Database {
 public:
  explicit Database(const std::string& path) {
    REQUIRE(sqlite3_open_v2(path.c_str(), &database_, SQLITE_OPEN_READONLY, nullptr) == SQLITE_OK);
  }
  ~Database() { sqlite3_close(database_); }
  Database(const Database&) = delete;
  Database& operator=(const Database&) = delete;
  std::string ask(const std::string& sql) {
    sqlite3_stmt* statement = nullptr;
    INFO(sql << ": " << sqlite3_errmsg(database_));
    REQUIRE(sqlite3_prepare_v2(database_, sql.c_str(), -1, &statement, nullptr) == SQLITE_OK);
    std::string out;
    while (sqlite3_step(statement) == SQLITE_ROW) {
      if (!out.empty()) out += "/";
      for (int i = 0; i < sqlite3_column_count(statement); ++i) {
        if (i > 0) out += "|";
        const auto* text = reinterpret_cast<const char*>(sqlite3_column_text(statement, i));
        out += text == nullptr ? "NULL" : text;
      }
    }
    sqlite3_finalize(statement);
    return out;
  }

 private:
  sqlite3* database_ = nullptr;
};

/// Writes until the writer gives up; the error it tells.
Error error_of(Result<std::unique_ptr<TableWriter>> writer) {
  if (!writer) return writer.error();
  const TableId table = (*writer)->add_table(sample());
  const std::string text(1000, 'x');
  for (int i = 0; i < 30'000 && !(*writer)->failed(); ++i)
    (*writer)->row(table,
                   std::vector<Cell>{Cell::of_time(kTime + i), Cell::of_integer(i), {}, Cell::of_text(text)});
  auto end = (*writer)->finish();
  REQUIRE(!end.ok());
  return end.error();
}

}  // namespace

TEST_CASE("csv: header with units, times, numbers as they are, texts in quotes where they must be") {
  const std::string csv = written(
      make_csv_writer,
      {{Cell::of_time(kTime), Cell::of_integer(240), Cell::of_number(exact(2500, 3)),
        Cell::of_text("forward")},
       {Cell::of_time(kTime + 1'234'567'891), Cell::of_integer(INT64_MIN),
        Cell::of_number(exact(4025, 2, true)), Cell::of_text("a, \"b\"\r\nc")},
       {Cell::of_time(-1), {}, Cell::of_null(), Cell::of_text(" edge")},
       {Cell::of_time(kTime - 1), {}, Cell::of_number(real(std::numeric_limits<double>::quiet_NaN()))},
       {Cell::of_time(INT64_MIN), {}, Cell::of_number(real(0.1)), Cell::of_text("")},
       {Cell::of_time(INT64_MAX)}});
  CHECK(csv ==
        "time,source,WheelBasedSpeed [m/s],text\r\n"
        "2026-04-07T06:12:00.000000000Z,240,2.500,forward\r\n"
        "2026-04-07T06:12:01.234567891Z,-9223372036854775808,-40.25,\"a, \"\"b\"\"\r\nc\"\r\n"
        "1969-12-31T23:59:59.999999999Z,,,\" edge\"\r\n"
        "2026-04-07T06:11:59.999999999Z,,,\r\n"
        "1677-09-21T00:12:43.145224192Z,,0.1,\r\n"
        "2262-04-11T23:47:16.854775807Z,,,\r\n");
}

TEST_CASE("csv: a text from the bus never becomes a formula") {
  const std::string csv = written(make_csv_writer, {{{}, {}, {}, Cell::of_text("=1+1")},
                                                    {{}, {}, {}, Cell::of_text("@SUM(A1)")},
                                                    {{}, {}, {}, Cell::of_text("-2+3+cmd|' /C calc'!A0")},
                                                    {{}, {}, {}, Cell::of_text("-40 deg")},
                                                    {{}, {}, {}, Cell::of_text("=\"a\",b")}});
  CHECK(csv.substr(csv.find('\n') + 1) ==
        ",,,\\x3d1+1\r\n"
        ",,,\\x40SUM(A1)\r\n"
        ",,,\\x2d2+3+cmd|' /C calc'!A0\r\n"
        ",,,-40 deg\r\n"
        ",,,\"\\x3d\"\"a\"\",b\"\r\n");
}

TEST_CASE("json lines: absent left out, no value is null, every text is valid JSON") {
  const std::string lines =
      written(make_json_lines_writer,
              {{Cell::of_time(kTime), Cell::of_integer(240), Cell::of_number(exact(2500, 3)),
                Cell::of_text("a\"b\\c")},
               {Cell::of_time(kTime + 5), {}, Cell::of_null(), Cell::of_text("x\n\x01\xFFy\xC3\xA9")},
               {{}, Cell::of_integer(-1)},
               {{}, {}, Cell::of_number(real(std::numeric_limits<double>::infinity()))},
               {}});
  CHECK(lines ==
        "{\"time\":\"2026-04-07T06:12:00.000000000Z\",\"source\":240,\"WheelBasedSpeed [m/s]\":2.500,"
        "\"text\":\"a\\\"b\\\\c\"}\n"
        "{\"time\":\"2026-04-07T06:12:00.000000005Z\",\"WheelBasedSpeed [m/s]\":null,"
        "\"text\":\"x\\u000a\\u0001\xEF\xBF\xBDy\xC3\xA9\"}\n"
        "{\"source\":-1}\n"
        "{\"WheelBasedSpeed [m/s]\":null}\n"
        "{}\n");
}

TEST_CASE("text formats hold one table") {
  const Maker make = GENERATE(Maker{make_csv_writer}, Maker{make_json_lines_writer});
  const TemporaryFolder folder;
  const std::string path = folder.write("out", "old");
  auto writer = make(path);
  REQUIRE(writer.ok());
  (*writer)->add_table(sample());
  (*writer)->add_table(sample());
  CHECK((*writer)->failed());
  const auto end = (*writer)->finish();
  REQUIRE(!end.ok());
  CHECK(end.error().kind == ErrorKind::usage);
  writer->reset();
  CHECK(bytes_of(path) == "old");
  CHECK(!fs::exists(path + ".part"));
}

TEST_CASE("sqlite: types, values, comments, index, view and marks of the file") {
  const TemporaryFolder folder;
  const std::string path = folder.write("out.sqlite", "");
  auto writer = make_sqlite_writer(path);
  REQUIRE(writer.ok());
  const TableId speed = (*writer)->add_table(sample());
  Table odd;
  odd.name = "select \"x\"; --";
  odd.view = "odd";
  odd.columns = {{"group", Column::Type::integer, "", "", false, {{1, "it's \"one\""}, {-5, "less"}}},
                 {"a\"b", Column::Type::text, "", "", false, {}}};
  const TableId other = (*writer)->add_table(odd);
  (*writer)->row(speed, std::vector<Cell>{Cell::of_time(kTime + 7'000'000), Cell::of_number(exact(240, 0)),
                                          Cell::of_number(exact(2500, 3)), Cell::of_text("it's")});
  (*writer)->row(speed, std::vector<Cell>{Cell::of_time(kTime), Cell::of_integer(INT64_MIN),
                                          Cell::of_number(exact(3, 0, true)), Cell::of_null()});
  (*writer)->row(speed, std::vector<Cell>{Cell::of_time(-1), Cell::of_number(exact(UINT64_MAX, 0))});
  (*writer)->row(other, std::vector<Cell>{Cell::of_integer(1), Cell::of_text("y")});
  (*writer)->row(other, std::vector<Cell>{Cell::of_integer(-5)});
  (*writer)->row(other, std::vector<Cell>{Cell::of_integer(7)});
  (*writer)->row(99, std::vector<Cell>{Cell::of_integer(1)});  // nobody's
  REQUIRE((*writer)->finish().ok());
  CHECK(!fs::exists(path + ".part"));

  Database database(path);
  CHECK(database.ask("PRAGMA integrity_check") == "ok");
  CHECK(database.ask("PRAGMA application_id") == "1414679884");  // 'T' 'R' 'M' 'L'
  CHECK(database.ask("PRAGMA user_version") == "1");
  CHECK(database.ask("SELECT *, typeof(source), typeof(WheelBasedSpeed) FROM Speed") ==
        "1775542320007000000|240|2.5|it's|integer|real/"
        "1775542320000000000|-9223372036854775808|-3.0|NULL|integer|real/"
        "-1|1.84467440737096e+19|NULL|NULL|real|null");
  CHECK(database.ask("SELECT \"group\", \"a\"\"b\" FROM \"select \"\"x\"\"; --\"") == "1|y/-5|NULL/7|NULL");
  CHECK(database.ask("SELECT sql FROM sqlite_master WHERE name = 'Speed'") ==
        "CREATE TABLE \"Speed\" (  -- SPN 1862\n"
        "  \"time\" INTEGER,\n"
        "  \"source\" INTEGER,\n"
        "  \"WheelBasedSpeed\" REAL,  -- m/s; from the wheels\\x0aonly\n"
        "  \"text\" TEXT\n)");
  CHECK(database.ask("SELECT time, source FROM \"Speed readable\" WHERE source = 240") ==
        "2026-04-07T06:12:00.007Z|240");
  CHECK(database.ask("SELECT \"group\" FROM odd") == "it's \"one\"/less/7");
  const std::string plan = database.ask(
      "EXPLAIN QUERY PLAN SELECT * FROM Speed WHERE time BETWEEN 1775542320000000000 AND "
      "1775542321000000000");
  CHECK(plan.find("USING INDEX Speed by time") != std::string::npos);
}

TEST_CASE("sqlite: a column of texts keeps every digit of a number") {
  const TemporaryFolder folder;
  auto writer = make_sqlite_writer(folder.path("t.sqlite"));
  REQUIRE(writer.ok());
  const TableId table = (*writer)->add_table(sample());
  for (const Number& n : {exact(UINT64_MAX, 0), exact(UINT64_MAX, 3, true), real(0.5),
                          real(std::numeric_limits<double>::infinity())})
    (*writer)->row(table, std::vector<Cell>{{}, {}, {}, Cell::of_number(n)});
  REQUIRE((*writer)->finish().ok());
  CHECK(Database(folder.path("t.sqlite")).ask("SELECT text, typeof(text) FROM Speed") ==
        "18446744073709551615|text/-18446744073709551.615|text/0.5|text/NULL|null");
}

TEST_CASE("sqlite: doubles are the nearest ones") {
  const TemporaryFolder folder;
  auto writer = make_sqlite_writer(folder.path("d.sqlite"));
  REQUIRE(writer.ok());
  const TableId table = (*writer)->add_table(sample());
  const auto number = [&](const Number& n) {
    (*writer)->row(table, std::vector<Cell>{{}, {}, Cell::of_number(n)});
  };
  number(exact(1, 1));
  number(exact(64255, 3));
  number(exact(9'007'199'254'740'993, 3));  // 2^53 + 1
  number(exact(123'456'789, 20));
  number(real(0.30000000000000004));
  REQUIRE((*writer)->finish().ok());
  Database database(folder.path("d.sqlite"));
  CHECK(database.ask(
            "SELECT WheelBasedSpeed = v FROM Speed JOIN (SELECT 1 r, 0.1 v UNION SELECT 2, 64.255 UNION "
            "SELECT 3, 9007199254740.993 UNION SELECT 4, 1.23456789e-12 UNION SELECT 5, "
            "0.30000000000000004) ON r = Speed.rowid ORDER BY r") == "1/1/1/1/1");
}

TEST_CASE("sqlite: what is there is replaced only if it is a database that nobody has open") {
  const TemporaryFolder folder;
  const auto kind_of = [](const std::string& path) {
    auto writer = make_sqlite_writer(path);
    REQUIRE(!writer.ok());
    return writer.error().kind;
  };
  const std::string note = folder.write("note.txt", "dear diary, this is more than sixteen bytes");
  CHECK(kind_of(note) == ErrorKind::usage);
  CHECK(bytes_of(note).substr(0, 4) == "dear");
  CHECK(kind_of(folder.write("short", "SQLite")) == ErrorKind::usage);
  CHECK(kind_of("") == ErrorKind::usage);
  CHECK(kind_of("-") == ErrorKind::usage);
  CHECK(kind_of("/dev/null") == ErrorKind::usage);
  CHECK(kind_of(folder.path("")) == ErrorKind::usage);
  CHECK(kind_of(folder.path("no/such/folder.db")) == ErrorKind::environment);

  const std::string path = folder.path("a.db");
  for (int round = 0; round < 2; ++round) {
    auto writer = make_sqlite_writer(path);
    REQUIRE(writer.ok());
    (*writer)->add_table(sample());
    REQUIRE((*writer)->finish().ok());
  }
  CHECK(Database(path).ask("SELECT count(*) FROM Speed") == "0");
  const std::string before = bytes_of(path);
  // Given up without finish(): the old one stays.
  {
    auto writer = make_sqlite_writer(path);
    REQUIRE(writer.ok());
    (*writer)->add_table(sample());
  }
  CHECK(bytes_of(path) == before);
  CHECK(!fs::exists(path + ".part"));
  // Somebody else's database, one that only begins like ours, and nothing at all.
  const std::string other = folder.path("other.db");
  sqlite3* theirs = nullptr;
  REQUIRE(sqlite3_open(other.c_str(), &theirs) == SQLITE_OK);
  REQUIRE(sqlite3_exec(theirs, "CREATE TABLE diary (day)", nullptr, nullptr, nullptr) == SQLITE_OK);
  const std::string untouched = bytes_of(other);
  CHECK(kind_of(other) == ErrorKind::usage);
  CHECK(bytes_of(other) == untouched);
  REQUIRE(sqlite3_exec(theirs, "PRAGMA application_id = 1280528980", nullptr, nullptr, nullptr) ==
          SQLITE_OK);  // our number back to front
  CHECK(kind_of(other) == ErrorKind::usage);
  sqlite3_close(theirs);
  CHECK(kind_of(folder.write("cut.db", before.substr(0, 71))) == ErrorKind::usage);
  CHECK(make_sqlite_writer(folder.write("empty.db", "")).ok());
  folder.write("a.db-wal", "x");
  CHECK(kind_of(path) == ErrorKind::usage);
}

TEST_CASE("a clash of names is an error that is told, and leaves nothing") {
  const TemporaryFolder folder;
  auto writer = make_sqlite_writer(folder.path("a.db"));
  REQUIRE(writer.ok());
  (*writer)->add_table(sample());
  const TableId again = (*writer)->add_table(sample());
  CHECK((*writer)->failed());
  (*writer)->row(again, std::vector<Cell>{Cell::of_time(1)});
  const auto end = (*writer)->finish();
  REQUIRE(!end.ok());
  CHECK(end.error().what.find("Speed") != std::string::npos);
  writer->reset();
  CHECK(fs::is_empty(folder.path("")));
}

TEST_CASE("a full disk, a reader that is gone and a folder that is not there are told as the environment") {
  const Maker make =
      GENERATE(Maker{make_csv_writer}, Maker{make_json_lines_writer}, Maker{make_sqlite_writer});
  std::signal(SIGXFSZ, SIG_IGN);
  std::signal(SIGPIPE, SIG_IGN);
  const TemporaryFolder folder;
  {
    const Error error = error_of(make(folder.path("no/such/place")));
    CHECK(error.kind == ErrorKind::environment);
    CHECK(error.where.find("place") != std::string::npos);
  }
  {
    // A limit on the size of a file stands for a disk that is full.
    rlimit before{};
    REQUIRE(::getrlimit(RLIMIT_FSIZE, &before) == 0);
    rlimit small = before;
    small.rlim_cur = 1'000'000;
    REQUIRE(::setrlimit(RLIMIT_FSIZE, &small) == 0);
    const std::string path = folder.path("full");
    const Error error = error_of(make(path));
    REQUIRE(::setrlimit(RLIMIT_FSIZE, &before) == 0);
    CHECK(error.kind == ErrorKind::environment);
    CHECK(error.where == path);
    CHECK(!fs::exists(path));
  }
  CHECK(fs::is_empty(folder.path("")));
  if (make != make_sqlite_writer) {
    CHECK(error_of(make("/dev/full")).kind == ErrorKind::environment);
    int ends[2];
    REQUIRE(::pipe(ends) == 0);
    const std::string pipe = "/dev/fd/" + std::to_string(ends[1]);
    auto writer = make(pipe);
    ::close(ends[0]);
    ::close(ends[1]);
    CHECK(error_of(std::move(writer)).kind == ErrorKind::environment);
  }
}
