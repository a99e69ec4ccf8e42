// tramlog schema, and what --schema does to the report: on the real program and the files of dbc/.
#include <unistd.h>

#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>

#include "cases/program.hpp"

using namespace tramlog::cases;
using nlohmann::json;

namespace {

const std::string kSource = TRAMLOG_SOURCE_DIR;
const std::string kSlow = kSource + "/captures/slow-messages/capture.pcapng.zst";

class Folder {
 public:
  Folder()
      : path_(std::filesystem::temp_directory_path() / ("tramlog-schema-" + std::to_string(::getpid()))) {
    std::filesystem::create_directories(path_);
  }
  ~Folder() { std::filesystem::remove_all(path_); }
  std::string file(const std::string& name, const std::string& text) const {
    std::ofstream(path_ / name, std::ios::binary) << text;
    return (path_ / name).string();
  }

 private:
  std::filesystem::path path_;
};

// The example of dbc/README.md: the indented lines from VERSION to the last VAL_.
std::string readme_example() {
  const std::string text = file_text(kSource + "/dbc/README.md");
  const std::size_t begin = text.find("       VERSION \"\"");
  const std::size_t end = text.find("5. Check it", begin);
  REQUIRE(begin != std::string::npos);
  REQUIRE(end != std::string::npos);
  std::string dbc;
  std::size_t at = begin;
  while (at < end) {
    const std::size_t stop = text.find('\n', at);
    const std::string line = text.substr(at, stop - at);
    dbc += (line.size() > 7 ? line.substr(7) : "") + "\n";
    at = stop + 1;
  }
  return dbc;
}

}  // namespace

TEST_CASE("schema shows a message in full, and finds by word, SPN and DDI") {
  const Outcome speed = run("TRAMLOG schema 65096");
  CHECK(speed.code == 0);
  CHECK_THAT(speed.output,
             Catch::StartsWith("WheelBasedSpeedDist: PGN 65096 (0xFE48), 8 bytes, every 100 ms"));
  CHECK_THAT(speed.output, Catch::Contains("described in dbc/tractor.dbc:"));
  CHECK_THAT(speed.output, Catch::Contains("(bits 1.1 to 2.8, x 0.001 m/s, range 0 to 64.255, SPN 1862)"));
  CHECK_THAT(run("TRAMLOG schema spn:190").output, Catch::Contains("EngineSpeed"));
  CHECK_THAT(run("TRAMLOG schema ddi:7").output, Catch::Contains("Actual Mass Per Area Application Rate"));
  const json found = json::parse(run("TRAMLOG schema --format json pgn:0xFE48").output);
  CHECK(found["schema"] == "tramlog.schema/1");
  REQUIRE(found["messages"].size() == 1);
  CHECK(found["messages"][0]["period_s"] == 0.1);
  CHECK(found["messages"][0]["signals"][0]["factor"] == 0.001);
  CHECK(run("TRAMLOG schema ddi:seven").code == 2);
}

TEST_CASE("our own files and the example of their README have nothing wrong in them") {
  const Folder folder;
  const Outcome example = run("TRAMLOG schema --check " + folder.file("drill.dbc", readme_example()));
  INFO(example.output << example.errors);
  CHECK(example.code == 0);
  CHECK_THAT(example.output, Catch::Contains("1 message and 5 signals can be used; 0 errors, 0 warnings"));
}

TEST_CASE("a mistake is told with file, line and signal, and fails the check") {
  const Folder folder;
  const std::string path = folder.file("bad.dbc",
                                       "BO_ 2566853886 Drill: 8 D\n"
                                       " SG_ Fan : 0|16@1+ (1,0) [0|64255] \"rpm\" D\n"
                                       " SG_ Lid : 8|2@1+ (1,0) [0|3] \"\" D\n"
                                       " SG_ Far : 60|8@1+ (1,0) [0|250] \"\" D\n"
                                       "CM_ SG_ 2566853886 Fan \"no end;\n"
                                       "VAL_ 2566853886 Lid 0 \"shut\" 1 \"open\" ;\n");
  const Outcome outcome = run("TRAMLOG schema --check " + path);
  CHECK(outcome.code == 1);
  CHECK_THAT(outcome.output, Catch::Contains("bad.dbc:3:") && Catch::Contains("Drill.Lid"));  // overlaps
  CHECK_THAT(outcome.output, Catch::Contains("bad.dbc:4:") && Catch::Contains("Drill.Far"));  // outside
  CHECK_THAT(outcome.output, Catch::Contains("bad.dbc:5:"));                                  // quote
  const json told = json::parse(run("TRAMLOG schema --format json --check " + path).output);
  CHECK(told["files"][0]["problems"].size() >= 3);
  CHECK(run("TRAMLOG schema --check " + path + ".not-there").code == 3);
}

TEST_CASE("a check counts what can be used and all that is wrong") {
  const Folder folder;
  const auto last_line = [&](const std::string& name, const std::string& text) {
    const std::string path = folder.file(name, text);
    std::string output = run("TRAMLOG schema --check " + path).output;
    REQUIRE(output.starts_with(path));
    output.pop_back();
    const std::size_t begin = output.rfind('\n') + 1;
    return output.substr(begin + path.size());
  };
  // Of two messages with one identifier the later is never used.
  CHECK(last_line("twice.dbc",
                  "BO_ 2566853886 A: 8 D\n SG_ S : 0|8@1+ (1,0) [0|0] \"\" D\n"
                  "BO_ 2566853886 B: 8 D\n SG_ S : 0|8@1+ (1,0) [0|0] \"\" D\n") ==
        ": 1 message and 1 signal can be used; 1 error, 0 warnings");
  std::string many = "BO_ 2566853886 A: 8 D\n SG_ S : 0|8@1+ (1,0) [300|400] \"\" D\n";
  for (int i = 0; i < 4000; ++i) many += " SG_ T 0\n";
  CHECK(last_line("many.dbc", many) == ": 1 message and 1 signal can be used; 4000 errors, 1 warning");
  CHECK_THAT(run("TRAMLOG schema --check " + folder.file("many.dbc", many)).output,
             Catch::Contains("many.dbc: 3001 more are not listed\n"));
  const json told = json::parse(run("TRAMLOG schema --format json --check " + folder.file("many.dbc", many)).output);
  CHECK(told["files"][0]["errors"] == 4000);
  CHECK(told["files"][0]["warnings"] == 1);
  CHECK(last_line("broken.csv", "ddi,name,unit,resolution\nx,y,z,1\n") ==
        ": 0 entries can be used; 1 error, 0 warnings");
  CHECK(last_line("one.csv", "kind,number,text\nspn,520200,fan speed\n") ==
        ": 1 entry can be used; 0 errors, 0 warnings");
  // What the file replaces of ours counts, too.
  CHECK(last_line("ours.csv", "kind,number,text\nspn,168,battery\nspn,520200,fan speed\n") ==
        ": 2 entries can be used; 0 errors, 1 warning");
}

TEST_CASE("the report holds messages against the user's periods and takes the user's words") {
  const Folder folder;
  // Front hitch status as this machine is said to send it.
  const std::string own =
      folder.file("own.dbc",
                  "BO_ 2365474558 FrontHitch: 8 T\n SG_ P : 0|8@1+ (0.4,0) [0|100] \"%\" T\n"
                  "BA_DEF_ BO_ \"GenMsgCycleTime\" INT 0 65535;\n"
                  "BA_DEF_DEF_ \"GenMsgCycleTime\" 0;\n"
                  "BA_ \"GenMsgCycleTime\" BO_ 2365474558 400;\n");  // 0x8CFE46FE
  const json before = json::parse(run("TRAMLOG report --format json " + kSlow).output);
  const json after = json::parse(run("TRAMLOG report --format json --schema " + own + " " + kSlow).output);
  const auto paces = [](const json& report) {
    std::size_t count = 0;
    for (const json& fault : report["faults"]) count += fault["code"] == "message.pace";
    return count;
  };
  CHECK(paces(before) == 2);
  CHECK(paces(after) == 1);

  const std::string words = folder.file("words.csv", "kind,number,text\nspn,520200,front meter motor\n");
  const std::string dtcs = kSource + "/captures/dtcs/capture.pcapng.zst";
  CHECK_THAT(run("TRAMLOG decode --message 65226 --schema " + words + " " + dtcs).output,
             Catch::Contains("SPN 520200 FMI 5: front meter motor"));
  CHECK_THAT(run("TRAMLOG report --schema " + words + " " + dtcs).output,
             Catch::Contains("front meter motor"));
}

TEST_CASE("decode and export write the same bytes whichever way the capture comes in") {
  for (const std::string command :
       {"decode", "decode --format json", "export --signal WheelBasedSpeed --signal KeySwitchState"}) {
    CAPTURE(command);
    const Outcome file = run("TRAMLOG " + command + " " + kSlow);
    REQUIRE(file.code == 0);
    CHECK(file.output.size() > 1000);
    CHECK(run("TRAMLOG " + command + " - <" + kSlow).output == file.output);
    CHECK(run("zstd -dc " + kSlow + " | TRAMLOG " + command + " -").output == file.output);
  }
}
