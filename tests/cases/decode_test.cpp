// tramlog decode on the captures: every frame is told, the values are those of the bytes, filters narrow it.
#include <unistd.h>

#include <catch2/catch.hpp>
#include <filesystem>
#include <map>
#include <nlohmann/json.hpp>
#include <regex>
#include <sstream>
#include <vector>

#include "cases/program.hpp"

using namespace tramlog::cases;
using nlohmann::json;

namespace {

const std::string kCaptures = TRAMLOG_SOURCE_DIR "/captures/";
const std::string kTransfers = kCaptures + "transfers/capture.pcapng.zst";

std::vector<json> lines_of(const std::string& text) {
  std::vector<json> lines;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) lines.push_back(json::parse(line));
  return lines;
}

std::vector<json> decoded(const std::string& options, const std::string& capture = kTransfers) {
  const Outcome outcome = run("TRAMLOG decode --format json " + options + " " + capture);
  INFO(options << "\n" << outcome.errors);
  REQUIRE(outcome.code == 0);
  return lines_of(outcome.output);
}

const json& signal(const json& line, const std::string& name) {
  for (const json& one : line["signals"])
    if (one["name"] == name) return one;
  FAIL("no signal " << name << " in " << line.dump());
  return line;
}

}  // namespace

TEST_CASE("every frame is told once, and the messages of transfers besides") {
  const auto lines = decoded("--transport --data --roster " + kCaptures + "transfers/roster.toml");
  std::uint64_t frames = 0;
  std::map<std::pair<std::string, std::size_t>, unsigned> transfers;  // protocol and bytes
  for (const json& line : lines) {
    if (line.count("event") > 0) continue;
    if (line.count("transfer") > 0) {
      ++transfers[{line["transfer"], line["data"].get<std::string>().size() / 2}];
      CHECK(line["frame"] == frames);  // right behind the frame that completes it
      CHECK(line["frames"][1] == frames);
      continue;
    }
    ++frames;
    REQUIRE(line["frame"] == frames);
  }
  CHECK(frames == 10'768);  // packets in the file
  // scenario.toml: a repaired and a held transfer of 350 bytes, an ETP of 5000, a BAM of 90.
  CHECK(transfers[{"rts-cts", 350}] == 2);
  CHECK(transfers[{"etp", 5000}] == 1);
  CHECK(transfers[{"bam", 90}] == 1);
  // Those that failed are nobody's message.
  CHECK(transfers[{"rts-cts", 200}] == 0);
  CHECK(transfers[{"etp", 4000}] == 0);
  CHECK(transfers[{"bam", 60}] == 0);

  // Frame 12 is 0CFE48F0, 32 0A 00 00 00 00 03 35: 2610 mm/s, 3 min, direction 1, key 1, start/stop 3,
  // reversed 0.
  for (const json& line : lines) {
    if (line["frame"] != 12) continue;
    CHECK(line["time"] == "2026-04-24T06:12:00.653598416Z");
    CHECK(line["bus"] == "can0");
    CHECK(line["pgn"] == 65096);
    CHECK(line["source"] == 240);
    CHECK(line["name"] == "20008600eda1a2b3");  // frame 3 claims it
    CHECK(line["from"] == "tractor ECU");
    CHECK(line["priority"] == 3);
    CHECK(line["data"] == "320a000000000335");
    CHECK(signal(line, "WheelBasedSpeed")["value"] == 2.610);
    CHECK(signal(line, "WheelBasedSpeed")["unit"] == "m/s");
    CHECK(signal(line, "WheelBasedDistance")["value"] == 0);
    CHECK(signal(line, "MaxTimeOfTractorPower")["value"] == 3);
    CHECK(signal(line, "KeySwitchState")["value"] == 1);
    CHECK(signal(line, "ImplStartStopOperations")["value"].is_null());
    CHECK(signal(line, "ImplStartStopOperations")["state"] == "not-available");
    CHECK(signal(line, "OperatorDirectionReversed")["value"] == 0);
  }
}

TEST_CASE("filters narrow what is decoded") {
  // The capture starts with the recorder's counters at 06:12:00; frames 12 and 22 come 0.654 s and 0.751 s
  // later.
  const auto two = decoded("--message WheelBasedSpeedDist --from 0.6 --to 0.8");
  REQUIRE(two.size() == 2);
  CHECK(two[0]["frame"] == 12);
  CHECK(two[1]["frame"] == 22);
  CHECK(two[1]["from"] != "unclaimed");
  CHECK(decoded("--message 65096 --from 06:12:00.65 --to 2026-04-24T06:12:00.66Z").size() == 1);
  const auto speed = decoded("--signal WheelBasedSpeed --units us --from 0.6 --to 0.7");
  REQUIRE(speed.size() == 1);
  REQUIRE(speed[0]["signals"].size() == 1);
  CHECK(speed[0]["signals"][0]["unit"] == "mph");
  CHECK(speed[0]["signals"][0]["value"].get<double>() == Approx(2.610 / 0.44704).margin(0.01));
  for (const json& line : decoded("--controller 0xF0 --to 2")) CHECK(line["source"] == 240);
  CHECK(decoded("--bus can7").empty());
  CHECK(decoded("--message WheelBasedSpeedDist --changes").size() <=
        decoded("--message WheelBasedSpeedDist").size());
}

TEST_CASE("a frame is explained, and the message it belongs to") {
  const Outcome single = run("TRAMLOG decode --explain 12 " + kTransfers);
  CHECK(single.code == 0);
  CHECK(single.output.find("WheelBasedSpeed") != std::string::npos);
  CHECK(single.output.find("2.610") != std::string::npos);
  const Outcome none = run("TRAMLOG decode --explain 10769 " + kTransfers);
  CHECK(none.code == 2);
  CHECK(none.errors.find("10768") != std::string::npos);
}

TEST_CASE("decode tells what went wrong by its exit code") {
  const Outcome damaged = run("TRAMLOG decode " + kCaptures + "damaged/capture.pcapng >/dev/null");
  CHECK(damaged.code == 3);
  CHECK(damaged.errors.find("could not be read") != std::string::npos);
  const Outcome unknown = run("TRAMLOG decode --message WheelBasedSpedDist " + kTransfers);
  CHECK(unknown.code == 2);
  CHECK(unknown.output.empty());
  CHECK(unknown.errors.find("\"WheelBasedSpeedDist\"") != std::string::npos);
  CHECK(run("TRAMLOG decode --from noon " + kTransfers).code == 2);
  CHECK(run("TRAMLOG decode --format yaml " + kTransfers).code == 2);
  CHECK(run("TRAMLOG decode --units furlongs " + kTransfers).code == 2);
  CHECK(run("TRAMLOG decode --schema " + kCaptures + "none.dbc " + kTransfers).code == 3);
  CHECK(run("TRAMLOG decode --format json " + kTransfers + " >/dev/full").code == 4);
  // A reader that has seen enough.
  const Outcome closed =
      run("(TRAMLOG decode --format json " + kTransfers + "; echo code $? >&2) | head -n 1 >/dev/null");
  CHECK(std::regex_match(closed.errors, std::regex("tramlog: [^\n]+ : [^\n]+ : [^\n]+\ncode 4\n")));
  const Outcome help = run("TRAMLOG decode --help");
  CHECK(help.code == 0);
  CHECK(help.output.find("Example") != std::string::npos);
}

TEST_CASE("a user's own schema is laid upon ours") {
  const std::string folder =
      std::filesystem::temp_directory_path() / ("tramlog-decode-" + std::to_string(::getpid()));
  std::filesystem::create_directories(folder);
  // The same PGN with one signal only: 0x0A32 by 2 is 5220.
  run("printf 'BO_ 2365475070 MySpeed: 8 X\\n SG_ Double : 0|16@1+ (2,0) [0|0] \"mm/s\" X\\n' >" + folder +
      "/own.dbc");
  const Outcome outcome =
      run("TRAMLOG decode --format json --message MySpeed --to 0.7 --schema " + folder + " " + kTransfers);
  CHECK(outcome.code == 0);
  CHECK(outcome.errors.find("own.dbc:1") != std::string::npos);  // it says what it replaces
  const auto lines = lines_of(outcome.output);
  REQUIRE(lines.size() == 1);
  CHECK(signal(lines[0], "Double")["value"] == 5220);
  std::filesystem::remove_all(folder);
}
