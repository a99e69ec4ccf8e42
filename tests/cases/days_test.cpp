// tramlog report on a folder of captures of several days.
#include <catch2/catch.hpp>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "cases/all_cases.hpp"
#include "cases/program.hpp"
#include "unit/temp_folder.hpp"

using namespace tramlog::cases;
using tramlog::test::TempFolder;
namespace fs = std::filesystem;

namespace {

// One machine on four days: 2026-04-07 (healthy), -08 (a controller missing), -12 and -18 (dropouts).
void fill(const TempFolder& folder) {
  for (const Case& one : all_cases())
    for (const char* name : {"healthy", "missing-metering-front", "supply-drop", "breakaway-connector"})
      if (one.name == name)
        fs::copy_file(one.capture,
                      folder.path(one.name + (one.capture.ends_with(".zst") ? ".pcapng.zst" : ".pcapng")));
}

const std::string kRoster = " --roster " + quoted(TRAMLOG_SOURCE_DIR "/captures/healthy/roster.toml") + " ";

bool has(const std::string& text, const std::string& words) {
  return text.find(words) != std::string::npos;
}

}  // namespace

TEST_CASE("a folder of several days is told day by day") {
  TempFolder folder;
  fill(folder);
  const Outcome text = run("TRAMLOG report" + kRoster + quoted(folder.path()));
  CHECK(text.code == 1);
  CHECK(text.errors.empty());
  CHECK(has(text.output,
            "BUS REPORT OF 4 DAYS: Larkfield 9 m air drill\n2026-04-07 to 2026-04-18 (UTC), 4 captures\n"));
  CHECK(has(text.output, "metering front: dropouts: on 2 of 4 days, first 2026-04-12 12:12, last"));
  CHECK(has(text.output, "metering front: missing: on 1 of 4 days, 2026-04-08 08:12."));
  const auto json =
      nlohmann::json::parse(run("TRAMLOG report --format json" + kRoster + quoted(folder.path())).output);
  REQUIRE(json["days"].size() == 4);
  CHECK(json["days"][0]["date"] == "2026-04-07");
  CHECK(json["days"][0]["wrong"] == false);
  CHECK(json["days"][2]["dropouts"] == 4);
  CHECK(json["days"][2]["captures"][0] == "supply-drop.pcapng.zst");
}

TEST_CASE("one day of a folder is the ordinary report of its captures") {
  TempFolder folder;
  fill(folder);
  for (const char* format : {"text", "json"}) {
    const std::string command = "TRAMLOG report --format " + std::string(format) + kRoster;
    const Outcome day = run(command + "--day 2026-04-12 " + quoted(folder.path()));
    CHECK(day.code == 1);
    CHECK(day.output == run(command + quoted(folder.path("supply-drop.pcapng.zst"))).output);
  }
  const Outcome none = run("TRAMLOG report --day 2026-04-13 " + quoted(folder.path()));
  CHECK(none.code == 2);
  CHECK(has(none.errors, "choose one of: 2026-04-07, 2026-04-08, 2026-04-12, 2026-04-18"));
  TempFolder single;
  fs::copy_file(folder.path("healthy.pcapng.zst"), single.path("x.pcapng.zst"));
  const Outcome only = run("TRAMLOG report" + kRoster + quoted(single.path()));
  CHECK(only.code == 0);
  CHECK(only.output == run("TRAMLOG report" + kRoster + quoted(single.path("x.pcapng.zst"))).output);
}

TEST_CASE("linked pages: an index and one for each day") {
  TempFolder folder, pages;
  fill(folder);
  const Outcome out =
      run("TRAMLOG report --format html -o " + quoted(pages.path("new")) + kRoster + quoted(folder.path()));
  CHECK(out.code == 1);
  CHECK(out.output.empty());
  const std::string index = file_text(pages.path("new") + "/index.html");
  for (const char* date : {"2026-04-07", "2026-04-08", "2026-04-12", "2026-04-18"}) {
    CHECK(has(index, std::string("<a href=\"") + date + ".html\">"));
    CHECK(has(file_text(pages.path("new") + "/" + date + ".html"), "</html>"));
  }
  CHECK(file_text(pages.path("new") + "/2026-04-12.html") ==
        run("TRAMLOG report --format html" + kRoster + quoted(folder.path("supply-drop.pcapng.zst"))).output);
  pages.write("file", "mine");
  CHECK(run("TRAMLOG report --format html -o " + quoted(pages.path("file")) + " " + quoted(folder.path()))
            .code == 2);
  CHECK(pages.read("file") == "mine");
}

TEST_CASE("what cannot be read in a folder is told, and the rest is reported") {
  TempFolder folder;
  fill(folder);
  folder.write("junk.pcapng", "this is no capture");
  fs::copy_file(folder.path("healthy.pcapng.zst"), folder.path("copy.pcapng.zst"));
  const Outcome out = run("TRAMLOG report" + kRoster + quoted(folder.path()));
  CHECK(out.code == 3);
  CHECK(has(out.errors, "junk.pcapng"));
  CHECK(has(out.output, "LEFT OUT junk.pcapng"));
  CHECK(has(out.output, "LEFT OUT healthy.pcapng.zst: the same recording as copy.pcapng.zst"));
  CHECK(has(out.output, "BUS REPORT OF 4 DAYS"));
  TempFolder empty;
  CHECK(run("TRAMLOG report " + quoted(empty.path())).code == 3);
  CHECK(run("TRAMLOG report --day 2026-04-07 -").code == 2);
}

TEST_CASE("pages go to a folder, also if there is one day, and over no file of another") {
  TempFolder folder, pages, several;
  fill(several);
  fs::copy_file(several.path("healthy.pcapng.zst"), folder.path("x.pcapng.zst"));
  const std::string report = "TRAMLOG report --format html" + kRoster;
  REQUIRE(run(report + "-o " + quoted(pages.path("new/")) + " " + quoted(folder.path())).code == 0);
  CHECK(has(file_text(pages.path("new/index.html")), "<a href=\"2026-04-07.html\">"));
  CHECK(file_text(pages.path("new/2026-04-07.html")) ==
        run(report + quoted(folder.path("x.pcapng.zst"))).output);
  CHECK(run(report + "-o " + quoted(pages.path("new")) + " " + quoted(several.path())).code == 1);
  CHECK(has(file_text(pages.path("new/index.html")), "2026-04-18.html"));

  pages.write("new/2026-04-12.html", "mine");
  const Outcome refused = run(report + "-o " + quoted(pages.path("new")) + " " + quoted(several.path()));
  CHECK(refused.code == 2);
  CHECK(has(refused.errors, "2026-04-12.html"));
  CHECK(pages.read("new/2026-04-12.html") == "mine");

  const Outcome file = run(report + "-o " + quoted(pages.path("days.html")) + " " + quoted(several.path()));
  CHECK(file.code == 2);
  CHECK(has(file.errors, "name a folder"));
  CHECK_FALSE(pages.has("days.html"));
  CHECK(run(report + "--day 2026-04-12 -o " + quoted(pages.path("new")) + " " + quoted(several.path())).code == 2);
}

TEST_CASE("a cut takes folders of captures") {
  TempFolder folder, out;
  fill(folder);
  const std::string slice = out.path("s.pcapng");
  const Outcome cut = run("TRAMLOG cut --from 2026-04-12 --to 2026-04-13 -o " + quoted(slice) + " " + quoted(folder.path()));
  INFO(cut.errors);
  CHECK(cut.code == 0);
  CHECK(has(run("TRAMLOG report " + quoted(slice)).output, "2026-04-12"));
}
