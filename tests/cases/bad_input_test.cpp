// What a user does wrong, and files that are wrong: a clear message, the contract's exit code, nothing lost.
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <regex>

#include "cases/program.hpp"

using namespace tramlog::cases;
namespace fs = std::filesystem;

namespace {

class Folder {
 public:
  Folder() : path_(fs::temp_directory_path() / ("tramlog-bad-" + std::to_string(::getpid()))) {
    fs::create_directories(path_);
  }
  ~Folder() { fs::remove_all(path_); }
  std::string file(const std::string& name, const std::string& bytes) const {
    std::ofstream(path_ / name, std::ios::binary) << bytes;
    return path_ / name;
  }
  std::string path() const { return path_; }

 private:
  fs::path path_;
};

const std::string kCaptures = TRAMLOG_SOURCE_DIR "/captures/";
const std::string kPlain = kCaptures + "missing-metering-front/capture.pcapng";

// One line "tramlog: <what> : <where> : <what to do>".
void check_error(const Outcome& outcome, int code, const std::string& what) {
  INFO(outcome.errors);
  CHECK(outcome.code == code);
  CHECK(outcome.output.empty());
  CHECK(std::regex_search(outcome.errors, std::regex("^tramlog: [^\n]+ : [^\n]+ : [^\n]+\n$")));
  CHECK(outcome.errors.find(what) != std::string::npos);
}

std::string number(std::uint64_t value, int bytes) {
  std::string out;
  for (int i = 0; i < bytes; ++i) out += static_cast<char>(value >> (8 * i) & 0xFF);
  return out;
}

}  // namespace

TEST_CASE("what is no capture is told what it is") {
  const Folder folder;
  check_error(
      run("TRAMLOG report " + folder.file("photo.pcapng", "\xFF\xD8\xFF\xE0\x00\x10JFIF rest of a photo")), 3,
      "photo.pcapng");
  check_error(run("TRAMLOG report " + folder.file("empty.pcapng", "")), 3, "empty");
  check_error(run("TRAMLOG report " + folder.path()), 3, "none of 2 captures");
  check_error(run("TRAMLOG report " + folder.path() + "/nothing.pcapng"), 3, "nothing.pcapng");
  check_error(run("TRAMLOG report - </dev/null"), 3, "empty");
  // Classic pcap of Ethernet: link type 1.
  const std::string ethernet =
      number(0xA1B2C3D4, 4) + number(2, 2) + number(4, 2) + number(0, 8) + number(65535, 4) + number(1, 4);
  check_error(run("TRAMLOG report " + folder.file("lan.pcap", ethernet)), 3, "Ethernet");
}

TEST_CASE("a truncated capture is reported as far as it goes") {
  const Folder folder;
  const std::string whole = file_text(kPlain);
  REQUIRE(whole.size() > 100'000);
  const std::string cut = folder.file("cut.pcapng", whole.substr(0, 100'001));
  const Outcome outcome = run("TRAMLOG report --format json " + cut);
  CHECK(outcome.code == 3);
  const auto report = nlohmann::json::parse(outcome.output);
  CHECK(report["capture"]["frames"] > 1000);
  REQUIRE(report["capture"]["damage"].size() == 1);
  CHECK(report["capture"]["damage"][0]["offset"].get<std::size_t>() +
            report["capture"]["damage"][0]["bytes"].get<std::size_t>() ==
        100'001);
  // The controllers before the cut are all there.
  CHECK(report["controllers"].size() == 9);
}

TEST_CASE("a file that is no capture beside good ones neither hides itself nor the others") {
  const Folder folder;
  // A text taken along by mistake, and the empty file that a power cut leaves behind.
  for (const std::string name : {"note.txt", "empty.pcapng"}) {
    const std::string file = folder.file(name, name == "note.txt" ? "hello, this is not a capture\n" : "");
    const Outcome outcome = run("TRAMLOG report --format json " + kPlain + " " + file);
    CHECK(outcome.code == 3);
    CHECK(outcome.errors.find(name) != std::string::npos);
    const auto report = nlohmann::json::parse(outcome.output);
    CHECK(report["capture"]["files"].size() == 1);
    CHECK(report["controllers"].size() == 9);
    REQUIRE(report["capture"]["damage"].size() == 1);
    CHECK(report["capture"]["damage"][0]["reason"].get<std::string>().find("nothing of the file") == 0);
    const Outcome decoded = run("TRAMLOG decode --message 65096 " + kPlain + " " + file);
    CHECK(decoded.code == 3);
    CHECK_FALSE(decoded.output.empty());
    // Alone it is an error.
    check_error(run("TRAMLOG report " + file), 3, name);
  }
  // A slip of the pen is not skipped.
  check_error(run("TRAMLOG report " + kPlain + " " + folder.path() + "/nosuch.pcapng"), 3, "nosuch.pcapng");
  check_error(run("TRAMLOG report " + kPlain + " " + kPlain), 2, "capture.pcapng");
}

TEST_CASE("a roster that is wrong is told where") {
  const Folder folder;
  const auto with = [&](const std::string& text) {
    return run("TRAMLOG report --roster " + folder.file("r.toml", text) + " " + kPlain);
  };
  check_error(with("[[controller]]\nlabel = \"x\"\nname = { function = \"rate\" }\n"), 3, "r.toml:3");
  check_error(with("[[controller]]\nlabel = \"x\"\nnmae = { function = 128 }\n"), 3, "r.toml:3");
  check_error(with("[[controller]\n"), 3, "r.toml:1");
  check_error(with(""), 3, "r.toml");
  check_error(run("TRAMLOG roster check " + folder.path()), 3, "directory");
  check_error(run("TRAMLOG roster check " + folder.path() + "/none.toml"), 3, "none.toml");
  const Outcome good = run("TRAMLOG roster check " + quoted(kCaptures + "healthy/roster.toml"));
  CHECK(good.code == 0);
  CHECK(good.output.find("10 controllers") != std::string::npos);
}

TEST_CASE("wrong usage is exit code 2") {
  check_error(run("TRAMLOG"), 2, "");
  check_error(run("TRAMLOG reprot x"), 2, "");
  check_error(run("TRAMLOG report"), 2, "CAPTURE");
  check_error(run("TRAMLOG report --format yaml " + kPlain), 2, "yaml");
  check_error(run("TRAMLOG rollcall " + kPlain), 2, "--roster");
  check_error(run("TRAMLOG report --colour " + kPlain), 2, "--colour");
  for (const char* command : {"", "report", "rollcall", "roster", "roster learn", "roster check"}) {
    const Outcome help = run(std::string("TRAMLOG ") + command + " --help");
    CHECK(help.code == 0);
    CHECK(help.output.find("Example") != std::string::npos);
  }
}

TEST_CASE("an output that cannot be written is exit code 4 and leaves no half file") {
  const Folder folder;
  const Outcome full = run("TRAMLOG report " + kPlain + " >/dev/full");
  CHECK(full.code == 4);
  CHECK(full.errors.find("cannot write") != std::string::npos);
  check_error(run("TRAMLOG report -o " + folder.path() + "/no/such/place.txt " + kPlain), 4, "place.txt");
  CHECK(run("TRAMLOG report -o " + folder.path() + "/r.txt " + kPlain).code == 1);
  CHECK(file_text(folder.path() + "/r.txt") == run("TRAMLOG report " + kPlain).output);
  CHECK(!fs::exists(folder.path() + "/r.txt.part"));
}

TEST_CASE("a file that may not grow further is exit code 4 and leaves nothing") {
  const Folder folder;
  // In blocks of 512 or 1,024 bytes.
  for (const std::string command : {"cut --from 0s --to 1h", "decode --format json", "mend"}) {
    const Outcome limited =
        run("(ulimit -f 2; TRAMLOG " + command + " -o " + folder.path() + "/out.pcapng " + kPlain + ")");
    INFO(command << ": " << limited.errors);
    CHECK(limited.code == 4);
    CHECK(limited.errors.find("File too large") != std::string::npos);
    CHECK(fs::is_empty(folder.path()));
  }
}

TEST_CASE("a signal that ends the program leaves no unfinished file") {
  for (const std::string signal : {"TERM", "HUP"}) {  // a shell's background jobs ignore INT
    const Folder folder;
    // The input stays open: the program waits for more of it when the signal comes.
    const Outcome ended =
        run("cd " + folder.path() + " && mkfifo in && { (cat " + kPlain +
            "; exec sleep 60) >in & feeder=$!; "
            "TRAMLOG decode -o out.txt in & program=$!; "
            "until ls -A | grep -q part; do kill -0 $program || exit 9; sleep 0.02; done; "
            "kill -" +
            signal + " $program; wait $program; code=$?; kill $feeder; rm in; exit $code; }");
    INFO(signal << ": " << ended.errors);
    CHECK(ended.code == (signal == "TERM" ? 143 : 129));
    CHECK(fs::is_empty(folder.path()));
  }
}

TEST_CASE("an input is never overwritten, and no recording is counted twice") {
  const Folder folder;
  const std::string copy = folder.file("copy.pcapng", file_text(kPlain));
  const std::string roster = folder.file("r.toml", file_text(kCaptures + "healthy/roster.toml"));
  check_error(run("TRAMLOG report " + copy + " -o " + copy), 2, "overwrite");
  check_error(run("TRAMLOG report --roster " + roster + " " + copy + " -o " + roster), 2, "overwrite");
  CHECK(file_text(copy) == file_text(kPlain));
  check_error(run("TRAMLOG report " + kPlain + " " + copy), 2, "twice");
}

TEST_CASE("a learned roster finds everybody again") {
  const Folder folder;
  const std::string capture = quoted(kCaptures + "healthy/capture.pcapng.zst");
  const std::string roster = folder.path() + "/learned.toml";
  REQUIRE(run("TRAMLOG roster learn --machine 'Larkfield 9 m air drill' " + capture + " -o " + roster).code ==
          0);
  CHECK(run("TRAMLOG roster check " + roster).code == 0);
  const Outcome call = run("TRAMLOG rollcall --format json --roster " + roster + " " + capture);
  CHECK(call.code == 0);
  const auto json = nlohmann::json::parse(call.output);
  CHECK(json["roster"]["entries"].size() == 10);
  for (const auto& entry : json["roster"]["entries"])
    CHECK((entry["state"] == "present" || entry["state"] == "software-unknown"));
  CHECK(json["roster"]["extra"].empty());
  // Against the machine without its front metering: exactly that one is missing.
  const Outcome other = run("TRAMLOG rollcall --format json --roster " + roster + " " + kPlain);
  CHECK(other.code == 1);
  const auto missing_json = nlohmann::json::parse(other.output);
  std::size_t missing = 0;
  for (const auto& entry : missing_json["roster"]["entries"]) missing += entry["state"] == "missing" ? 1 : 0;
  CHECK(missing == 1);
}

TEST_CASE("several files are one capture in time order") {
  const Folder folder;
  const std::string a = quoted(kCaptures + "dtcs/capture.pcapng.zst");
  const std::string b = quoted(kCaptures + "healthy/capture.pcapng.zst");
  const Outcome one = run("TRAMLOG report --format json " + a + " " + b);
  const Outcome other = run("TRAMLOG report --format json " + b + " " + a);
  CHECK(one.output == other.output);
  const auto report = nlohmann::json::parse(one.output);
  CHECK(report["capture"]["files"].size() == 2);
  CHECK(report["capture"]["buses"].size() == 1);
}
