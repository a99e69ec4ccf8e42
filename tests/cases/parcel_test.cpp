// The real program's parcels, opened by somebody else's mail and archive readers.
#include <unistd.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <random>

#include "can/can_id.hpp"
#include "cases/planted_bus.hpp"
#include "cases/program.hpp"

using namespace tramlog;
using namespace tramlog::cases;
namespace fs = std::filesystem;

namespace {

const std::string kDrill = TRAMLOG_SOURCE_DIR "/captures/drill-much-wrong/capture.pcapng.zst";
const std::string kFuse = TRAMLOG_SOURCE_DIR "/captures/fuse-opens";
const std::string kInspect = "python3 " TRAMLOG_SOURCE_DIR "/tests/cases/inspect_parcel.py ";

class Folder {
 public:
  Folder() : path_(fs::temp_directory_path() / ("tramlog-parcel-" + std::to_string(::getpid()))) {
    fs::create_directories(path_);
  }
  ~Folder() { fs::remove_all(path_); }
  std::string operator/(const std::string& name) const { return path_ / name; }

 private:
  fs::path path_;
};

bool has_line(const std::string& text, const std::string& beginning) {
  return text.starts_with(beginning) || text.find("\n" + beginning) != std::string::npos;
}

/// Two controllers of which one falls silent now and then for three seconds: many dropouts, many frames.
void long_recording(const std::string& path) {
  auto writer = CaptureWriter::create(path);
  REQUIRE(writer);
  writer->add_bus({"can0", 250000});
  PlantedBus bus(*writer);
  bus.single(0xEE00, 0x80, 0xFF, PlantedBus::little(0xA0001900'B5F5E0D6, 8));
  bus.single(0xEE00, 0x81, 0xFF, PlantedBus::little(0xA0001900'B5E77777, 8));
  std::mt19937_64 random(7);
  for (int i = 0; i < 300'000; ++i) {
    bus.single(0xFEF1, 0x80, 0xFF, PlantedBus::little(random(), 8));
    if (i % 15'000 < 14'000 || i < 20'000) bus.single(0xFE48, 0x81, 0xFF, PlantedBus::little(random(), 8));
  }
  REQUIRE(writer->finish());
}

}  // namespace

TEST_CASE("A mail parcel opens in another mail reader, its files are those of the commands", "[parcel]") {
  const Folder folder;
  const std::string parcel = folder / "day.eml", out = folder / "out";
  REQUIRE(run("TRAMLOG parcel " + quoted(kDrill) + " -o " + quoted(parcel)).code == 0);
  const Outcome seen = run(kInspect + quoted(parcel) + " " + quoted(out));
  INFO(seen.errors);
  REQUIRE(seen.code == 0);
  CHECK(has_line(seen.output, "body text/plain utf-8 "));
  CHECK(has_line(seen.output, "body text/html utf-8 "));
  CHECK(has_line(seen.output, "member report.txt text/plain "));
  CHECK(has_line(seen.output, "member report.html text/html "));
  CHECK(has_line(seen.output, "member report.json application/json "));
  CHECK(has_line(seen.output, "member contents.txt text/plain "));
  CHECK(has_line(seen.output, "member contents.json application/json "));
  CHECK(has_line(seen.output, "member slices.pcapng.zst application/zstd "));
  CHECK(has_line(seen.output, "date 2026-06-04T08:13:21"));

  for (const std::string format : {"json", "text", "summary", "html"}) {
    const std::string name = format == "summary" ? "summary.txt"
                             : format == "text"  ? "report.txt"
                             : format == "html"  ? "report.html"
                                                 : "report.json";
    CHECK(file_text(out + "/" + name) ==
          run("TRAMLOG report --format " + format + " " + quoted(kDrill)).output);
    CHECK(run("TRAMLOG report --format " + format + " " + quoted(parcel)).output ==
          file_text(out + "/" + name));
  }
  CHECK(file_text(out + "/.body") == file_text(out + "/summary.txt"));
  CHECK(run("TRAMLOG report " + quoted(parcel)).code == 1);
  const std::string saved = folder / "saved.pool";
  REQUIRE(run("TRAMLOG devices --save " + quoted(saved) + " " + quoted(kDrill)).code == 0);
  std::size_t descriptions = 0;
  for (const auto& entry : fs::directory_iterator(out))
    if (entry.path().extension() == ".pool") {
      ++descriptions;
      CHECK(file_text(entry.path()) == file_text(saved));
    }
  CHECK(descriptions == 1);

  const std::string again = folder / "again.eml";
  REQUIRE(run("TRAMLOG parcel " + quoted(kDrill) + " -o " + quoted(again)).code == 0);
  CHECK(file_text(again) == file_text(parcel));

  SECTION("another mail program sends it on") {
    const std::string forwarded = folder / "no-name-for-it";
    REQUIRE(run(kInspect + "--rewrap " + quoted(parcel) + " " + quoted(forwarded)).code == 0);
    CHECK(run("TRAMLOG report --format json " + quoted(forwarded)).output == file_text(out + "/report.json"));
    const std::string unpacked = folder / "unpacked";
    REQUIRE(run("TRAMLOG parcel --unpack " + quoted(forwarded) + " -o " + quoted(unpacked)).code == 0);
    for (const auto& entry : fs::directory_iterator(unpacked))
      CHECK(file_text(entry.path()) == file_text(out + "/" + entry.path().filename().string()));
    CHECK(fs::exists(unpacked + "/slices.pcapng.zst"));
    // Once more: nothing is overwritten.
    CHECK(run("TRAMLOG parcel --unpack " + quoted(forwarded) + " -o " + quoted(unpacked)).code == 2);
  }
  SECTION("other commands say what it is") {
    for (const std::string& command :
         {std::string("decode"), "rollcall --roster " + quoted(kFuse + "/roster.toml"),
          std::string("devices")}) {
      const Outcome refused = run("TRAMLOG " + command + " " + quoted(parcel));
      INFO(command);
      CHECK(refused.code == 3);
      CHECK(refused.errors.find("tramlog parcel --unpack") != std::string::npos);
    }
    CHECK(run("TRAMLOG report " + quoted(parcel) + " " + quoted(kDrill)).code == 2);
  }
  SECTION("damaged parcels are errors") {
    const std::string whole = file_text(parcel), hurt = folder / "hurt.eml";
    std::mt19937_64 random(11);
    for (int i = 0; i < 40; ++i) {
      std::string bytes = whole.substr(0, i % 2 == 0 ? random() % whole.size() : whole.size());
      for (int k = 0; k < 20 && !bytes.empty(); ++k)
        bytes[random() % std::min<std::size_t>(bytes.size(), i % 4 < 2 ? 3000 : bytes.size())] =
            static_cast<char>(random());
      std::ofstream(hurt, std::ios::binary | std::ios::trunc) << bytes;
      const Outcome outcome = run("TRAMLOG report " + quoted(hurt));
      INFO(i << " " << outcome.errors);
      CHECK(outcome.code >= 0);
      CHECK(outcome.code <= 4);
    }
  }
}

TEST_CASE("A zip parcel opens in another unpacker", "[parcel]") {
  const Folder folder;
  const std::string parcel = folder / "day.zip", out = folder / "out";
  REQUIRE(run("TRAMLOG parcel --roster " + quoted(kFuse + "/roster.toml") + " " +
              quoted(kFuse + "/capture.pcapng.zst") + " -o " + quoted(parcel))
              .code == 0);
  const Outcome seen = run("TZ=Asia/Tokyo " + kInspect + quoted(parcel) + " " + quoted(out));
  INFO(seen.errors);
  REQUIRE(seen.code == 0);
  CHECK(has_line(seen.output, "member roster.toml 100644 "));
  CHECK(has_line(seen.output, "time 2026-05-27T09:12:46"));
  CHECK(file_text(out + "/roster.toml") == file_text(kFuse + "/roster.toml"));
  const Outcome report = run("TRAMLOG report --format json --roster " + quoted(kFuse + "/roster.toml") + " " +
                             quoted(kFuse + "/capture.pcapng.zst"));
  CHECK(file_text(out + "/report.json") == report.output);
  CHECK(run("TRAMLOG report --format json " + quoted(parcel)).output == report.output);
  CHECK(run("TRAMLOG report " + quoted(parcel)).code == report.code);
  const std::string again = folder / "again.zip";
  REQUIRE(run("TZ=America/Lima TRAMLOG parcel --roster " + quoted(kFuse + "/roster.toml") + " " +
              quoted(kFuse + "/capture.pcapng.zst") + " -o " + quoted(again))
              .code == 0);
  CHECK(file_text(again) == file_text(parcel));

  const std::string whole = file_text(parcel), hurt = folder / "hurt.zip";
  std::mt19937_64 random(13);
  for (int i = 0; i < 60; ++i) {
    std::string bytes = whole.substr(0, i % 3 == 0 ? random() % whole.size() : whole.size());
    const std::size_t tail = i % 2 == 0 ? 700 : bytes.size();
    for (int k = 0; k < 6 && !bytes.empty(); ++k)
      bytes[bytes.size() - 1 - random() % std::min(tail, bytes.size())] = static_cast<char>(random());
    std::ofstream(hurt, std::ios::binary | std::ios::trunc) << bytes;
    const Outcome outcome = run("TRAMLOG report " + quoted(hurt));
    INFO(i << " " << outcome.errors);
    CHECK(outcome.code >= 0);
    CHECK(outcome.code <= 4);
  }
}

TEST_CASE("A parcel keeps its limit and says what was left out", "[parcel]") {
  const Folder folder;
  const std::string capture = folder / "long.pcapng";
  long_recording(capture);
  const auto whole = fs::file_size(capture);
  std::size_t before = SIZE_MAX;
  for (const auto& [words, bytes] :
       {std::pair{"8MB", 8'000'000u}, {"1MB", 1'000'000u}, {"100kB", 100'000u}}) {
    for (const std::string kind : {".eml", ".zip"}) {
      INFO(words << kind);
      const std::string parcel = folder / (words + kind);
      const Outcome made = run(std::string("TRAMLOG parcel --limit ") + words + " " + quoted(capture) +
                               " -o " + quoted(parcel));
      INFO(made.errors);
      REQUIRE(made.code == 0);
      CHECK(fs::file_size(parcel) <= bytes);
      const std::string out = parcel + ".d";
      REQUIRE(run(kInspect + quoted(parcel) + " " + quoted(out)).code == 0);
      REQUIRE(fs::exists(out + "/slices.pcapng.zst"));
      CHECK(run("TRAMLOG report " + quoted(out + "/slices.pcapng.zst")).code <= 1);
      const auto facts = nlohmann::json::parse(file_text(out + "/contents.json"));
      CHECK(facts["slices"].size() > 0);
      if (bytes < 1'000'000)
        CHECK(file_text(out + "/contents.txt").find("100000 bytes") != std::string::npos);
      if (kind == ".eml") {
        const auto size = static_cast<std::size_t>(fs::file_size(out + "/slices.pcapng.zst"));
        CHECK(size < before);
        before = size;
      }
    }
  }
  CHECK(whole > 8'000'000);
  // The reports of this one alone are larger than 20 kB.
  const Outcome refused =
      run("TRAMLOG parcel --limit 20kB " + quoted(kDrill) + " -o " + quoted(folder / "small.eml"));
  CHECK(refused.code == 2);
  CHECK(refused.errors.find("the reports alone need") != std::string::npos);
  CHECK(!fs::exists(folder / "small.eml"));
}

TEST_CASE("The slices of a parcel name the same controllers and miss nobody else", "[parcel]") {
  const Folder folder;
  for (const std::string name : {"fuse-opens", "contact-loose", "controller-lost", "supply-drop",
                                 "unit-restarts", "terminal-restarts"}) {
    INFO(name);
    const std::string base = std::string(TRAMLOG_SOURCE_DIR "/captures/") + name,
                      parcel = folder / (name + ".eml"), out = folder / name;
    std::string captures;
    for (const auto& entry : fs::directory_iterator(base))
      if (entry.path().filename().string().find(".pcap") != std::string::npos)
        captures += " " + quoted(entry.path());
    const Outcome open = run("TRAMLOG report --format json" + captures);
    const auto whole = nlohmann::json::parse(open.output);
    // As little room as there is for some of it.
    Outcome made;
    for (int limit = 30'000; limit < 1'000'000; limit += 3000) {
      made = run("TRAMLOG parcel --limit " + std::to_string(limit) + captures + " -o " + quoted(parcel));
      if (made.code == 0 && made.errors.find("no slice") == std::string::npos) break;
    }
    INFO(made.errors);
    REQUIRE(made.code == 0);
    REQUIRE(run("TRAMLOG parcel --unpack " + quoted(parcel) + " -o " + quoted(out)).code == 0);
    const auto facts = nlohmann::json::parse(file_text(out + "/contents.json"));
    const auto slice = nlohmann::json::parse(
        run("TRAMLOG report --format json " + quoted(out + "/slices.pcapng.zst")).output);
    CHECK(slice["capture"]["frames"] < whole["capture"]["frames"]);
    std::string last = facts["slices"].back()["to"];
    for (const auto& controller : whole["controllers"]) {
      if (controller["first_seen"].get<std::string>() > last) continue;
      const auto same = std::find_if(slice["controllers"].begin(), slice["controllers"].end(),
                                     [&](const auto& c) { return c["name"] == controller["name"]; });
      INFO(controller["name"]);
      REQUIRE(same != slice["controllers"].end());
      if (!controller["software_reported_at"].is_null() &&
          controller["software_reported_at"].get<std::string>() < last)
        CHECK((*same)["software"] == controller["software"]);
    }
    for (const auto& dropout : slice["dropouts"]) {
      INFO(dropout.dump());
      CHECK(std::any_of(whole["dropouts"].begin(), whole["dropouts"].end(),
                        [&](const auto& d) { return d["controller"] == dropout["controller"]; }));
    }
  }
}

TEST_CASE("What a user does wrong with parcels", "[parcel]") {
  const Folder folder;
  const std::string to = " -o " + quoted(folder / "a.eml");
  CHECK(run("TRAMLOG parcel " + quoted(kDrill)).code == 2);
  CHECK(run("TRAMLOG parcel " + quoted(kDrill) + " -o " + quoted(folder / "a.txt")).code == 2);
  CHECK(run("TRAMLOG parcel" + to).code == 2);
  CHECK(run("TRAMLOG parcel -" + to).code == 2);
  CHECK(run("TRAMLOG parcel --limit much " + quoted(kDrill) + to).code == 2);
  CHECK(run("TRAMLOG parcel " + quoted(folder / "none.pcapng") + to).code == 3);
  CHECK(run("TRAMLOG parcel --unpack " + quoted(kDrill) + to).code == 3);
  CHECK(run("TRAMLOG parcel --unpack " + quoted(folder / "none.eml") + to).code == 3);
  CHECK(run("TRAMLOG parcel " + quoted(kDrill) + " -o " + quoted(folder / "no-folder/a.eml")).code == 4);
}

TEST_CASE("A private parcel finds what an open one finds", "[parcel]") {
  const Folder folder;
  for (const std::string name : {"fuse-opens", "drill-much-wrong", "contact-loose", "position-frozen",
                                 "repaired-and-single", "duplicate-name", "address-wanders", "damaged"}) {
    INFO(name);
    const std::string base = std::string(TRAMLOG_SOURCE_DIR "/captures/") + name;
    std::string captures;
    for (const auto& entry : fs::directory_iterator(base))
      if (entry.path().filename().string().find(".pcap") != std::string::npos)
        captures += " " + quoted(entry.path());
    const std::string roster =
        fs::exists(base + "/roster.toml") ? " --roster " + quoted(base + "/roster.toml") : "";
    const std::string parcel = folder / (std::string(name) + ".zip");
    const Outcome made = run("TRAMLOG parcel --private" + roster + captures + " -o " + quoted(parcel));
    INFO(made.errors);
    const Outcome open = run("TRAMLOG report --format json" + roster + captures),
                  hidden = run("TRAMLOG report --format json " + quoted(parcel));
    CHECK(open.code == hidden.code);
    const auto a = nlohmann::json::parse(open.output), b = nlohmann::json::parse(hidden.output);
    const auto same = [&](const char* list, std::initializer_list<const char*> keys) {
      REQUIRE(a[list].size() == b[list].size());
      for (std::size_t i = 0; i < a[list].size(); ++i)
        for (const char* key : keys) {
          INFO(list << " " << i << " " << key);
          CHECK(a[list][i][key] == b[list][i][key]);
        }
    };
    same("findings", {"cause", "confidence", "explains"});
    same("dropouts", {"start", "end", "address", "kind", "group", "reclaimed"});
    same("faults", {"code", "severity", "start", "end"});
    same("controllers", {"state", "addresses", "claims", "frames", "label", "function", "manufacturer_code"});
    same("dtcs", {"spn", "fmi", "first_active", "cleared"});
    for (std::size_t i = 0; i < a["controllers"].size(); ++i)
      CHECK(b["controllers"][i]["identity_number"].get<unsigned>() <= a["controllers"].size() + 10);
  }
}

TEST_CASE("The text of a stranger's parcel does not command the terminal", "[parcel]") {
  const Folder folder;
  const std::string parcel = folder / "day.zip", strange = folder / "strange.zip";
  REQUIRE(run("TRAMLOG parcel " + quoted(kDrill) + " -o " + quoted(parcel)).code == 0);
  const std::string script = folder / "rewrite.py";
  std::ofstream(script) << "import sys, zipfile\n"
                           "new = zipfile.ZipFile(sys.argv[2], 'w')\n"
                           "for name in (old := zipfile.ZipFile(sys.argv[1])).namelist():\n"
                           "    text = b'one \\x1b]0;mine\\x07\\ntwo\\x9b2J\\r\\n'\n"
                           "    strange = name in ('report.txt', 'summary.txt')\n"
                           "    new.writestr(name, text if strange else old.read(name))\n"
                           "new.close()\n";
  REQUIRE(run("python3 " + quoted(script) + " " + quoted(parcel) + " " + quoted(strange)).code == 0);
  for (const std::string format : {"text", "summary"}) {
    const Outcome shown = run("TRAMLOG report --format " + format + " " + quoted(strange));
    INFO(shown.errors);
    CHECK(shown.output == "one \\x1b]0;mine\\x07\ntwo\\x9b2J\n");
  }
}
