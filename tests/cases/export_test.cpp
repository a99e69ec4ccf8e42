// The real program's exports of a stored capture, against what its frames hold, and what a user does wrong.
#include <sqlite3.h>

#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <map>
#include <nlohmann/json.hpp>
#include <regex>
#include <sstream>

#include "cases/program.hpp"

using namespace tramlog::cases;
namespace fs = std::filesystem;

namespace {

const std::string kCapture = TRAMLOG_SOURCE_DIR "/captures/missing-metering-front/capture.pcapng";

class Folder {
 public:
  Folder() : path_(fs::temp_directory_path() / ("tramlog-export-" + std::to_string(::getpid()))) {
    fs::create_directories(path_);
  }
  ~Folder() { fs::remove_all(path_); }
  std::string operator/(const std::string& name) const { return path_ / name; }

 private:
  fs::path path_;
};

std::uint32_t le32(const std::string& bytes, std::size_t at) {
  std::uint32_t value = 0;
  for (std::size_t i = 4; i-- > 0;) value = value << 8 | static_cast<unsigned char>(bytes[at + i]);
  return value;
}

/// First two bytes of every frame with this PGN (of PDU2 format), straight from the enhanced packet blocks of
/// the file: 8 bytes block header, 20 bytes packet header, then the identifier (big-endian), length, 3 bytes,
/// data.
std::vector<unsigned> raw_speeds(std::uint32_t pgn) {
  const std::string bytes = file_text(kCapture);
  std::vector<unsigned> speeds;
  for (std::size_t at = 0; at + 12 <= bytes.size(); at += le32(bytes, at + 4)) {
    if (le32(bytes, at) != 6) continue;
    const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(bytes[at + 28 + i]); };
    const std::uint32_t id = std::uint32_t{byte(0)} << 24 | byte(1) << 16 | byte(2) << 8 | byte(3);
    if ((id & 0xA0000000) == 0x80000000 && (id >> 8 & 0x3FFFF) == pgn)
      speeds.push_back(byte(8) | unsigned{byte(9)} << 8);
  }
  return speeds;
}

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) {
    if (!line.empty() && line.back() == '\r') line.pop_back();
    lines.push_back(line);
  }
  return lines;
}

std::string ask(const std::string& path, const std::string& sql) {
  sqlite3* database = nullptr;
  REQUIRE(sqlite3_open_v2(path.c_str(), &database, SQLITE_OPEN_READONLY, nullptr) == SQLITE_OK);
  sqlite3_stmt* statement = nullptr;
  REQUIRE(sqlite3_prepare_v2(database, sql.c_str(), -1, &statement, nullptr) == SQLITE_OK);
  std::string out;
  while (sqlite3_step(statement) == SQLITE_ROW) {
    const auto* text = reinterpret_cast<const char*>(sqlite3_column_text(statement, 0));
    out += (out.empty() ? "" : "/") + std::string(text == nullptr ? "NULL" : text);
  }
  sqlite3_finalize(statement);
  sqlite3_close(database);
  return out;
}

void check_error(const Outcome& outcome, int code, const std::string& what) {
  INFO(outcome.errors);
  CHECK(outcome.code == code);
  CHECK(outcome.output.empty());
  CHECK(std::regex_search(outcome.errors, std::regex("^tramlog: [^\n]+ : [^\n]+ : [^\n]+\n$")));
  CHECK(outcome.errors.find(what) != std::string::npos);
}

std::string metres(unsigned millimetres) {
  std::string text = std::to_string(millimetres % 1000);
  return std::to_string(millimetres / 1000) + "." + std::string(3 - text.size(), '0') + text;
}

}  // namespace

TEST_CASE("export: every wheel speed of the capture, the same in all formats") {
  const Folder folder;
  const std::vector<unsigned> speeds = raw_speeds(65096);
  REQUIRE(speeds.size() > 100);
  const std::string chosen = " --signal WheelBasedSpeed " + quoted(kCapture);

  const Outcome csv = run("TRAMLOG export" + chosen);
  CHECK(csv.code == 0);
  CHECK(csv.errors.empty());
  const std::vector<std::string> rows = lines_of(csv.output);
  REQUIRE(rows.size() == speeds.size() + 1);
  CHECK(rows[0] == "time,bus,source,controller,WheelBasedSpeed [m/s],remarks");
  bool equal = true;
  for (std::size_t i = 0; i < speeds.size(); ++i) {
    const std::string value = speeds[i] <= 64255 ? metres(speeds[i]) : "";
    equal = equal && std::regex_match(rows[i + 1], std::regex("20[^,]+Z,can0,240,[^,]+," + value + ",.*"));
  }
  CHECK(equal);

  REQUIRE(run("TRAMLOG export -o " + folder / "speed.jsonl" + chosen).code == 0);
  const std::vector<std::string> objects = lines_of(file_text(folder / "speed.jsonl"));
  REQUIRE(objects.size() == speeds.size());
  CHECK(nlohmann::json::parse(objects[0])["source"] == 240);
  CHECK(rows[1].find(nlohmann::json::parse(objects[0])["time"].get<std::string>()) == 0);
  CHECK(run("TRAMLOG export --format json" + chosen).output == file_text(folder / "speed.jsonl"));
  REQUIRE(run("TRAMLOG export -o " + folder / "speed.json" + chosen).code == 0);
  CHECK(file_text(folder / "speed.json") == file_text(folder / "speed.jsonl"));

  REQUIRE(run("TRAMLOG export -o " + folder / "speed.sqlite" + chosen).code == 0);
  CHECK(ask(folder / "speed.sqlite", "SELECT count(*) FROM WheelBasedSpeedDist") ==
        std::to_string(speeds.size()));
  std::uint64_t sum = 0;
  for (const unsigned speed : speeds) sum += speed <= 64255 ? speed : 0;
  CHECK(ask(folder / "speed.sqlite",
            "SELECT CAST(round(sum(WheelBasedSpeed) * 1000) AS INTEGER) FROM "
            "WheelBasedSpeedDist") == std::to_string(sum));
}

TEST_CASE("export: steps, events and everything") {
  const Folder folder;
  const std::string capture = quoted(kCapture);
  const Outcome steps = run("TRAMLOG export --signal WheelBasedSpeed --every 1s --take mean,max " + capture);
  CHECK(steps.code == 0);
  const auto rows = lines_of(steps.output);
  REQUIRE(rows.size() > 5);
  CHECK(rows[0] == "time,bus,source,controller,WheelBasedSpeed mean [m/s],WheelBasedSpeed max [m/s],remarks");
  for (std::size_t i = 1; i < rows.size(); ++i) CHECK(rows[i].substr(19, 11) == ".000000000Z");
  const Outcome events = run("TRAMLOG export --events " + capture);
  CHECK(events.code == 0);
  CHECK(events.output.find(",statistics,") != std::string::npos);

  const std::string all = folder / "all.db";
  REQUIRE(run("TRAMLOG export " + capture + " -o " + all).code == 0);
  CHECK(ask(all, "PRAGMA integrity_check") == "ok");
  CHECK(ask(all, "SELECT file FROM capture") == "capture.pcapng");
  CHECK(ask(all, "SELECT count(*) > 0 FROM event WHERE kind = 'statistics'") == "1");
  CHECK(ask(all,
            "SELECT count(*) > 0 FROM remark WHERE message = 'AddressClaimed' AND name = 'is' AND text "
            "LIKE '%NAME%'") == "1");
  CHECK(ask(all, "SELECT unit FROM signal WHERE signal = 'WheelBasedSpeed'") == "m/s");
  const std::string first = file_text(all);
  REQUIRE(run("TRAMLOG export " + capture + " -o " + all).code == 0);
  CHECK(file_text(all) == first);  // the same capture, the same bytes
}

TEST_CASE("export: what a user does wrong") {
  const Folder folder;
  const std::string capture = " " + quoted(kCapture);
  const std::string speed = " --signal WheelBasedSpeed";
  check_error(run("TRAMLOG export" + capture), 2, "--signal");
  check_error(run("TRAMLOG export --format sqlite" + capture), 2, "-o");
  check_error(run("TRAMLOG export --format xml" + speed + capture), 2, "xml");
  check_error(run("TRAMLOG export --signal WheelBasedSped" + capture), 2, "WheelBasedSpeed");
  check_error(run("TRAMLOG export --every 1d" + speed + capture), 2, "--every");
  check_error(run("TRAMLOG export --take mean" + speed + capture), 2, "--every");
  check_error(run("TRAMLOG export --every 1s --changes" + speed + capture), 2, "means");
  check_error(run("TRAMLOG export --take median --every 1s" + speed + capture), 2, "median");
  check_error(run("TRAMLOG export --events" + speed + capture), 2, "--events");
  check_error(run("TRAMLOG export --controller nobody-at-all" + speed + capture), 2, "nobody-at-all");
  check_error(run("TRAMLOG export" + speed + capture + " -o " + folder / "no/such/place.csv"), 4,
              "place.csv");
  std::ofstream(folder / "note.db") << "this is no database, but a note";
  check_error(run("TRAMLOG export" + capture + " -o " + folder / "note.db"), 2, "note.db");
  CHECK(file_text(folder / "note.db").substr(0, 4) == "this");
  sqlite3* theirs = nullptr;
  REQUIRE(sqlite3_open((folder / "mine.sqlite").c_str(), &theirs) == SQLITE_OK);
  REQUIRE(sqlite3_exec(theirs, "CREATE TABLE diary (day)", nullptr, nullptr, nullptr) == SQLITE_OK);
  sqlite3_close(theirs);
  check_error(run("TRAMLOG export" + capture + " -o " + folder / "mine.sqlite"), 2, "not of tramlog");
  CHECK(ask(folder / "mine.sqlite", "SELECT name FROM sqlite_master") == "diary");
  const Outcome full = run("TRAMLOG export" + speed + capture + " >/dev/full");
  CHECK(full.code == 4);
  const Outcome help = run("TRAMLOG export --help");
  CHECK(help.code == 0);
  CHECK(help.output.find("Example") != std::string::npos);
  CHECK(help.output.find("1970-01-01") != std::string::npos);
  CHECK(help.output.find("\\x3d") != std::string::npos);
  const Outcome cut = run("head -c 100001" + capture + " | TRAMLOG export" + speed + " -");
  CHECK(cut.code == 3);
  CHECK(lines_of(cut.output).size() > 10);
}
