// What one recording is to compare and parcel: days are not joined, a night's work is not parted.
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>

#include "base/time.hpp"
#include "can/can_id.hpp"
#include "cases/all_cases.hpp"
#include "cases/program.hpp"
#include "io/capture_writer.hpp"
#include "unit/temp_folder.hpp"

using namespace tramlog;
using namespace tramlog::cases;
using tramlog::test::TempFolder;
using Json = nlohmann::json;
namespace fs = std::filesystem;

namespace {

// Three days of one machine: 2026-04-07, -12 and -18.
void fill(const TempFolder& folder) {
  for (const Case& one : all_cases())
    for (const char* name : {"healthy", "supply-drop", "breakaway-connector"})
      if (one.name == name)
        fs::copy_file(one.capture,
                      folder.path(one.name + (one.capture.ends_with(".zst") ? ".pcapng.zst" : ".pcapng")));
}

const std::string kRoster = " --roster " + quoted(TRAMLOG_SOURCE_DIR "/captures/healthy/roster.toml") + " ";
constexpr const char* kDays = " 3 days: 2026-04-07, 2026-04-12, 2026-04-18 : ";

std::string report_of(const std::string& name) {
  return quoted(TRAMLOG_SOURCE_DIR "/captures/" + name + "/report.json");
}

bool has(const std::string& text, const std::string& words) {
  return text.find(words) != std::string::npos;
}

/// One controller that talks every 100 ms.
void talk(const std::string& path, TimeNs from, TimeNs to) {
  auto writer = CaptureWriter::create(path);
  REQUIRE(writer);
  writer->add_bus({"can0", 250000});
  const std::uint8_t claim[8] = {0x11, 0, 0xC1, 0xF3, 0, 0x85, 0x08, 0xA0};
  Event frame;
  frame.kind = EventKind::frame;
  frame.flags = kExtendedId;
  frame.len = 8;
  frame.data = claim;
  for (TimeNs at = from; at < to; at += 100'000'000) {
    frame.time = at;
    frame.id = make_id(6, at == from ? 0xEE00 : 0xFE48, 0x81, 0xFF);
    writer->write_frame(frame);
  }
  REQUIRE(writer->finish());
}

}  // namespace

TEST_CASE("captures of several days are no side: the days are listed, and one can be named") {
  const TempFolder folder;
  fill(folder);
  const std::string week = quoted(folder.path());
  const Outcome before = run("TRAMLOG compare" + kRoster + week + " " + report_of("supply-drop"));
  CHECK(before.code == 2);
  CHECK(before.output.empty());
  CHECK(has(before.errors, "tramlog: the side before has recordings of" + std::string(kDays)));
  CHECK(has(before.errors, "name one of them: --before-day 2026-04-18\n"));
  const Outcome after = run("TRAMLOG compare" + kRoster + report_of("supply-drop") + " " + week);
  CHECK(after.code == 2);
  CHECK(has(after.errors, "name one of them: --after-day 2026-04-18\n"));
  // Without a folder, too.
  const Outcome named =
      run("TRAMLOG compare --before " + quoted(folder.path("healthy.pcapng.zst")) + " --before " +
          quoted(folder.path("supply-drop.pcapng.zst")) + " --after " + report_of("supply-drop"));
  CHECK(named.code == 2);
  CHECK(has(named.errors, " 2 days: 2026-04-07, 2026-04-12 : "));

  const auto changes = [](const std::string& text) { return Json::parse(text)["changes"]; };
  const std::string command = "TRAMLOG compare --format json" + kRoster;
  const Outcome wanted = run(command + quoted(folder.path("healthy.pcapng.zst")) + " " +
                             quoted(folder.path("supply-drop.pcapng.zst")));
  CHECK(wanted.code == 1);
  const Outcome chosen = run(command + "--before-day 2026-04-07 --after-day 2026-04-12 " + week + " " + week);
  CHECK(chosen.code == 1);
  CHECK(changes(chosen.output) == changes(wanted.output));
  const Outcome once = run(command + "--before-day 2026-04-07 --after-day 2026-04-12 " + week);
  CHECK(once.output == chosen.output);
  const Outcome nobody = run(command + "--before-day 2026-04-08 " + week + " " + report_of("healthy"));
  CHECK(nobody.code == 2);
  CHECK(has(nobody.errors, "choose one of: 2026-04-07, 2026-04-12, 2026-04-18"));
  CHECK(run(command + "--before-day 2026-04-07 " + week).code == 2);
  CHECK(
      run(command + "--after-day 2026-04-12 " + report_of("healthy") + " " + report_of("supply-drop")).code ==
      2);
}

TEST_CASE("a parcel is of one day", "[parcel]") {
  const TempFolder folder, out;
  fill(folder);
  const std::string week = quoted(folder.path()), parcel = out.path("day.eml");
  const Outcome all = run("TRAMLOG parcel" + kRoster + week + " -o " + quoted(parcel));
  CHECK(all.code == 2);
  CHECK(has(all.errors, "tramlog: these are recordings of" + std::string(kDays)));
  CHECK(has(all.errors, "name one of them: --day 2026-04-18\n"));
  CHECK_FALSE(fs::exists(parcel));
  CHECK(run("TRAMLOG parcel" + kRoster + "--day 2026-04-09 " + week + " -o " + quoted(parcel)).code == 2);
  REQUIRE(run("TRAMLOG parcel" + kRoster + "--day 2026-04-12 " + week + " -o " + quoted(parcel)).code == 0);
  CHECK(run("TRAMLOG report --format json " + quoted(parcel)).output ==
        run("TRAMLOG report --format json" + kRoster + quoted(folder.path("supply-drop.pcapng.zst"))).output);
  // What cannot be read belongs to no day; the parcel of a day is made without it, and it is told.
  std::ofstream(folder.path("torn.pcapng")) << "no capture";
  const Outcome rest =
      run("TRAMLOG parcel" + kRoster + "--day 2026-04-12 " + week + " -o " + quoted(out.path("rest.eml")));
  CHECK(rest.code == 3);
  CHECK(has(rest.errors, "a file is left out : torn.pcapng: "));
}

TEST_CASE("work across midnight is one side and one parcel", "[parcel]") {
  const TempFolder folder, out;
  constexpr TimeNs kMidnight = 1775606400ll * kSecond;  // 2026-04-08
  talk(folder.path("a.pcapng"), kMidnight - 20 * kSecond, kMidnight);
  talk(folder.path("b.pcapng"), kMidnight, kMidnight + 20 * kSecond);
  const std::string night = quoted(folder.path());
  const Outcome same = run("TRAMLOG compare --format json " + night + " " + night);
  CHECK(same.code == 0);
  CHECK(Json::parse(same.output)["before"]["files"].size() == 2);
  CHECK(Json::parse(same.output)["before"]["duration_s"].get<double>() == Approx(39.9));
  CHECK(run("TRAMLOG parcel " + night + " -o " + quoted(out.path("night.zip"))).code == 0);
}
