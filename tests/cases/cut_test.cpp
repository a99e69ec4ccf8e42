// Slices of every shipped capture: whoever was on the bus is known in the slice, and nothing is wrong in it that was not wrong before.
#include <catch2/catch.hpp>
#include <filesystem>
#include <fmt/format.h>
#include <map>
#include <nlohmann/json.hpp>
#include <random>
#include <set>

#include "cases/all_cases.hpp"
#include "cases/program.hpp"
#include "unit/temp_folder.hpp"

using namespace tramlog::cases;
using Json = nlohmann::json;
namespace fs = std::filesystem;

namespace {

class Slice {
 public:
  explicit Slice(const std::string& name) : path_(fs::temp_directory_path() / fmt::format("tramlog-cut-{}-{}", ::getpid(), name)) {}
  ~Slice() { fs::remove(path_); }
  std::string path() const { return tramlog::cases::quoted(path_.string()); }

 private:
  fs::path path_;
};


Json report_of(const Case& one, const std::string& capture) {
  return Json::parse(run(report_command(one, "json") + capture).output);
}

const Json* controller_in(const Json& report, const Json& controller) {
  for (const Json& other : report["controllers"])
    if (other["name"] == controller["name"] && other["bus"] == controller["bus"]) return &other;
  return nullptr;
}

bool overlaps(const Json& dropout, const Json& other) {
  if (dropout["controller"] != other["controller"] || dropout["address"] != other["address"] || dropout["bus"] != other["bus"])
    return false;
  const auto end = [](const Json& d) { return d["end"].is_null() ? std::string("9") : d["end"].get<std::string>(); };
  return dropout["start"].get<std::string>() <= end(other) && other["start"].get<std::string>() <= end(dropout);
}

/// A cut needs not see what the whole shows; but it may not see what the whole does not.
std::vector<std::string> inventions(const Json& whole, const Json& slice) {
  std::vector<std::string> wrong;
  const std::string begin = slice["capture"]["start"], end = slice["capture"]["end"];
  for (const Json& controller : whole["controllers"]) {
    const Json* other = controller_in(slice, controller);
    bool held = false;  // an address, when the slice begins
    for (const Json& address : controller["addresses"])
      held = held || (address["start"] < begin && (address["end"].is_null() || address["end"] >= begin));
    if (other == nullptr) {
      if (held) wrong.push_back("not known: " + controller["name"].get<std::string>());
      continue;
    }
    const Json& reported = controller["software_reported_at"];
    if (!reported.is_null() && reported < begin && (*other)["software"].empty())
      wrong.push_back("software not known: " + controller["name"].get<std::string>());
    if ((*other)["state"] == "lost" && controller["state"] == "present")
      wrong.push_back("lost: " + controller["name"].get<std::string>());
  }
  for (const Json& controller : slice["controllers"])
    if (controller_in(whole, controller) == nullptr) wrong.push_back("invented: " + controller["name"].get<std::string>());
  for (const Json& dropout : slice["dropouts"]) {
    bool found = false;
    for (const Json& other : whole["dropouts"]) found = found || overlaps(dropout, other);
    if (!found) wrong.push_back("dropout: " + dropout.dump());
  }
  if (!whole["roster"].is_null())
    for (std::size_t i = 0; i < whole["roster"]["entries"].size(); ++i) {
      const Json& before = whole["roster"]["entries"][i];
      const Json& now = slice["roster"]["entries"][i];
      if (now["state"] == "missing" && before["state"] != "missing") {
        // .. unless it came only later.
        bool later = false;
        for (const Json& controller : whole["controllers"])
          later = later || (controller["name"] == before["controller"] && controller["first_seen"] > end);
        if (!later) wrong.push_back("missing: " + before["label"].get<std::string>());
      }
    }
  for (const Json& voice : slice["unclaimed"]) {
    bool found = false;
    for (const Json& other : whole["unclaimed"])
      found = found || (other["address"] == voice["address"] && other["bus"] == voice["bus"]);
    if (!found) wrong.push_back("without a claim: " + voice.dump());
  }
  return wrong;
}

double seconds_of(const Json& report) {
  return report["capture"]["duration_s"];
}

}  // namespace

TEST_CASE("a slice knows who was there, and invents nothing", "[cut]") {
  std::mt19937 dice(20261126);
  for (const Case& one : all_cases()) {
    DYNAMIC_SECTION(one.name) {
      const Json whole = report_of(one, tramlog::cases::quoted(one.capture));
      if (!whole["capture"]["damage"].empty()) continue;
      for (int round = 0; round < 3; ++round) {
        const double length = seconds_of(whole);
        const double from = length * static_cast<double>(dice() % 900) / 1000, to = std::min(length, from + 5 + static_cast<double>(dice() % 40));
        const Slice slice(one.name + ".pcapng");
        const Outcome cut = run(fmt::format("TRAMLOG cut --from {:.3f} --to {:.3f} -o {} {}", from, to, slice.path(), tramlog::cases::quoted(one.capture)));
        INFO("from " << from << " to " << to << ": " << cut.errors);
        if (cut.code == 2 && cut.errors.find("no frame was kept") != std::string::npos) continue;
        REQUIRE(cut.code == 0);
        const Json part = report_of(one, slice.path());
        for (const std::string& line : inventions(whole, part)) UNSCOPED_INFO(line);
        CHECK(inventions(whole, part).empty());
        CHECK(part["capture"]["damage"].empty());
        CHECK(part["capture"]["frames"] <= whole["capture"]["frames"]);
      }
    }
  }
}

TEST_CASE("a slice of the whole holds every frame of it", "[cut]") {
  for (const Case& one : all_cases()) {
    DYNAMIC_SECTION(one.name) {
      const Json whole = report_of(one, tramlog::cases::quoted(one.capture));
      if (!whole["capture"]["damage"].empty()) continue;
      const Slice slice(one.name + ".pcapng.zst");
      const Outcome cut = run("TRAMLOG cut --from 0 -o " + slice.path() + " " + tramlog::cases::quoted(one.capture));
      REQUIRE(cut.code == 0);
      const auto frames = [](const std::string& capture) {
        return run("TRAMLOG decode --transport --data --format json " + capture + " | grep '\"data\":' | sed 's/\"frame\":[0-9]*,//'").output;
      };
      CHECK(frames(slice.path()) == frames(tramlog::cases::quoted(one.capture)));
      const Json part = report_of(one, slice.path());
      CHECK(part["dropouts"].size() == whole["dropouts"].size());
      CHECK(part["controllers"].size() == whole["controllers"].size());
      CHECK(part["findings"].size() == whole["findings"].size());
    }
  }
}

TEST_CASE("around dropouts, and only one controller: the report tells the same of it", "[cut]") {
  for (const Case& one : all_cases()) {
    DYNAMIC_SECTION(one.name) {
      const Json whole = report_of(one, tramlog::cases::quoted(one.capture));
      if (!whole["capture"]["damage"].empty()) continue;
      bool any = false;
      for (const Json& dropout : whole["dropouts"]) any = any || dropout["kind"] == "controller";
      if (!any) continue;
      const Slice slice(one.name + "-around.pcapng");
      const std::string roster = one.roster.empty() ? "" : " --roster " + tramlog::cases::quoted(one.roster);
      REQUIRE(run("TRAMLOG cut --around dropouts --margin 40" + roster + " -o " + slice.path() + " " + tramlog::cases::quoted(one.capture)).code == 0);
      const Json part = report_of(one, slice.path());
      for (const std::string& line : inventions(whole, part)) UNSCOPED_INFO(line);
      CHECK(inventions(whole, part).empty());
      for (const Json& dropout : whole["dropouts"]) {
        if (dropout["controller"].is_null()) continue;
        const Slice of_one(one.name + "-one.pcapng");
        const Outcome cut = run("TRAMLOG cut --controller " + dropout["controller"].get<std::string>() + " -o " + of_one.path() + " " + tramlog::cases::quoted(one.capture));
        REQUIRE(cut.code == 0);
        const Json single = report_of(one, of_one.path());
        for (const std::string& line : inventions(whole, single)) UNSCOPED_INFO(line);
        CHECK(inventions(whole, single).empty());
        for (const Json& silence : single["faults"]) CHECK(silence["code"] != "bus.silent");
        break;
      }
    }
  }
}

TEST_CASE("what cannot be cut is told", "[cut]") {
  const std::string capture = tramlog::cases::quoted(all_cases().front().capture);
  const Slice slice("wrong.pcapng");
  const auto cut = [&](const std::string& options) { return run("TRAMLOG cut " + options + " " + capture); };
  CHECK(cut("-o " + slice.path()).code == 2);
  CHECK(cut("--from 0").code == 2);
  CHECK(cut("--from 5 --to 4 -o " + slice.path()).code == 2);
  CHECK(cut("--around storms -o " + slice.path()).code == 2);
  CHECK(cut("--around dropouts:0 -o " + slice.path()).code == 2);
  CHECK(cut("--around dropouts:999999 -o " + slice.path()).code == 2);
  CHECK(cut("--controller nobody-of-this-name -o " + slice.path()).code == 2);
  CHECK(cut("--from 0 -o " + capture).code == 2);
  CHECK(cut("--from 0 -o /nowhere/slice.pcapng").code == 4);
  CHECK(run("TRAMLOG cut --around dropouts -o " + slice.path() + " - <" + capture).code == 2);
  CHECK(run("TRAMLOG cut --from 1 --to 9 -o " + slice.path() + " - <" + capture).code == 0);
  const Outcome empty = cut("--from 2031-01-01T00:00:00Z -o " + slice.path());
  CHECK(empty.code == 2);
  CHECK(empty.errors.find("the captures go from") != std::string::npos);
}

TEST_CASE("whoever is silent where a slice begins, or until its end, is told so", "[cut]") {
  for (const Case& one : all_cases()) {
    const bool drop = one.name == "supply-drop", lost = one.name == "controller-lost";
    if (!drop && !lost) continue;
    const Json whole = report_of(one, tramlog::cases::quoted(one.capture));
    const Slice slice("inside.pcapng");
    // Two seconds within the first dropout; ten around the moment when a controller goes for good.
    const std::string options = drop ? "--from 31.5 --to 34" : "--around dropouts --roster " + tramlog::cases::quoted(one.roster);
    REQUIRE(run("TRAMLOG cut " + options + " -o " + slice.path() + " " + tramlog::cases::quoted(one.capture)).code == 0);
    const Json part = report_of(one, slice.path());
    std::set<std::string> gone, should;
    for (const Json& dropout : part["dropouts"]) gone.insert(dropout["controller"].get<std::string>());
    for (const Json& dropout : whole["dropouts"]) should.insert(dropout["controller"].get<std::string>());
    CHECK(gone == should);
    for (const Json& entry : part["roster"]["entries"])
      CHECK((entry["state"] == "lost") == (should.count(entry["controller"].get<std::string>()) > 0));
  }
}

TEST_CASE("a slice tells what it shows, and gives no all-clear for what it cannot show", "[cut]") {
  struct Row {
    const char *name, *cut, *told, *not_told;
  };
  const Row rows[] = {
      // A rhythm is trusted after a while: enough of it is kept.
      {"dropout-no-reclaim", "--around dropouts", "INTERMITTENT section control", "Nothing wrong"},
      {"stub-opens", "--around dropouts", "INTERMITTENT metering right", "Nothing wrong"},
      {"trunk-opens", "--around dropouts", "INTERMITTENT metering left", "Nothing wrong"},
      // All of it lies within the outage.
      {"trunk-opens", "--from 17 --to 26.5", "LOST metering left", "Nothing wrong"},
      {"stub-opens", "--from 17 --to 26", "LOST metering right", "Nothing wrong"},
      // It begins after the key was switched off.
      {"ignition-off-on", "--from 40 --to 56", "10 of 10 expected", "INTERMITTENT"},
      {"two-buses", "--from 33 --to 60", "10 of 10 expected", "trunk"},
      // It begins within a dropout that ends with a claim.
      {"dropout-reclaim", "--from 31 --to 44", "INTERMITTENT metering rear", "bus wires"},
      // The bus was silent, or asked to be.
      {"recorder-unplugged", "--controller a0008200eda00d16", "BUS SILENT can0", "It was lost to the client"},
      {"intended-silence", "--controller a0088000f3c10001", "Nothing wrong was found in this slice", "INTERMITTENT"},
      {"healthy", "--controller 0x80", "9 cannot be", "INTERMITTENT"},
  };
  const auto cases = all_cases();
  const auto case_of = [&](const std::string& name) {
    return *std::find_if(cases.begin(), cases.end(), [&](const Case& c) { return c.name == name; });
  };
  for (const Row& row : rows) {
    const Case one = case_of(row.name);
    const Slice slice("shows.pcapng");
    INFO(row.name << " " << row.cut);
    REQUIRE(run(fmt::format("TRAMLOG cut {} --roster {} -o {} {}", row.cut, tramlog::cases::quoted(one.roster), slice.path(),
                            tramlog::cases::quoted(one.capture)))
                .code == 0);
    const std::string told = run(report_command(one, "summary") + slice.path()).output;
    CHECK(told.find(row.told) != std::string::npos);
    CHECK(told.find(row.not_told) == std::string::npos);
  }
  const Case healthy = case_of("healthy");
  const Slice first("first.pcapng"), second("second.pcapng");
  REQUIRE(run("TRAMLOG cut --from 31 --to 47 --controller 0x80 -o " + first.path() + " " + tramlog::cases::quoted(healthy.capture)).code == 0);
  REQUIRE(run("TRAMLOG cut --controller 0x82 -o " + second.path() + " " + first.path()).code == 0);
  const Json both = report_of(healthy, second.path());
  CHECK(both["dropouts"].empty());
  CHECK(both["faults"].empty());
}

TEST_CASE("a slice carries the device description that was uploaded before it, and so does a slice of it", "[cut]") {
  const std::string whole = TRAMLOG_SOURCE_DIR "/captures/drill-healthy/capture.pcapng.zst";
  const auto implement_of = [](const std::string& capture) {
    const Json all = Json::parse(run("TRAMLOG devices --format json " + capture).output);
    REQUIRE(all["implements"].size() == 1);
    return all["implements"][0];
  };
  const auto objects_of = [](const Json& implement) {  // without what was told of them
    Json elements = implement["elements"];
    for (Json& element : elements)
      for (Json& value : element["values"])
        for (const char* told : {"value", "set"}) value.erase(told);
    return elements;
  };
  const auto seeding_passes = [](const std::string& capture) {
    const std::string text = run("TRAMLOG seeding " + capture).output;
    CHECK(text.find("0 lines need attention") != std::string::npos);
    return text.find("Wheat, element 3") != std::string::npos;
  };
  const Slice slice("described.pcapng.zst"), again("described-again.pcapng.zst");
  REQUIRE(run("TRAMLOG cut --from 07:12:30 --to 07:13:10 -o " + slice.path() + " " + tramlog::cases::quoted(whole)).code == 0);
  REQUIRE(run("TRAMLOG cut --from 07:12:40 --to 07:13:00 -o " + again.path() + " " + slice.path()).code == 0);
  const Json told = implement_of(tramlog::cases::quoted(whole));
  CHECK(told["description"]["source"] == "uploaded");
  for (const std::string& part : {slice.path(), again.path()}) {
    const Json known = implement_of(part);
    CHECK(known["description"]["source"] == "before-the-cut");
    CHECK(objects_of(known) == objects_of(told));
    CHECK(known["presentations"] == told["presentations"]);
    CHECK(seeding_passes(part));
  }
  const std::string serial = "6004711";  // of the drill, in its description
  const Slice parcel("described.zip");
  REQUIRE(run("TRAMLOG parcel --private -o " + parcel.path() + " " + slice.path()).code == 0);
  const Json concealed = implement_of(parcel.path());
  CHECK(concealed["elements"].size() == told["elements"].size());
  CHECK(concealed["description"]["source"] == "before-the-cut");
  CHECK(run("TRAMLOG devices " + parcel.path()).output.find(serial) == std::string::npos);
  CHECK(run("TRAMLOG devices " + slice.path()).output.find(serial) != std::string::npos);
}

TEST_CASE("a slice for one controller says so, and proposes no causes", "[cut]") {
  for (const Case& one : all_cases()) {
    if (one.name != "supply-drop") continue;
    const Slice slice("one.pcapng");
    REQUIRE(run("TRAMLOG cut --controller \"metering rear\" --roster " + tramlog::cases::quoted(one.roster) + " -o " + slice.path() + " " +
                tramlog::cases::quoted(one.capture))
                .code == 0);
    const Json part = report_of(one, slice.path());
    CHECK(part["findings"].empty());
    CHECK(part["dropouts"].size() == 2);
    for (const Json& entry : part["roster"]["entries"])
      CHECK(entry["state"] == (entry["label"] == "metering rear" ? "intermittent" : "present"));
    const std::string text = run(report_command(one, "text") + slice.path()).output;
    CHECK(text.find("only what concerns metering") != std::string::npos);
    CHECK(text.find("1677") == std::string::npos);
    CHECK(text.find("2262") == std::string::npos);
  }
}

TEST_CASE("a cut that keeps nothing leaves what was there", "[cut]") {
  const tramlog::test::TempFolder folder;
  const std::string capture = quoted(TRAMLOG_SOURCE_DIR "/captures/fuse-opens/capture.pcapng.zst");
  folder.write("slice.pcapng", "old");
  const std::string cut = "TRAMLOG cut -o " + quoted(folder.path("slice.pcapng")) + " " + capture;
  CHECK(run(cut + " --from 2001-01-01 --to 2001-01-02").code == 2);
  CHECK(folder.read("slice.pcapng") == "old");
  CHECK(run(cut + " --to 10").code == 0);
  CHECK(folder.read("slice.pcapng").size() > 1000);
  CHECK(folder.names().size() == 1);
}

TEST_CASE("mending touches no file that stands beside its result", "[mend]") {
  const tramlog::test::TempFolder folder;
  const std::string capture = TRAMLOG_SOURCE_DIR "/captures/fuse-opens/capture.pcapng.zst";
  fs::copy_file(capture, folder.path("x.pcapng.zst.part"));
  REQUIRE(run("TRAMLOG mend " + quoted(folder.path("x.pcapng.zst.part")) + " -o " + quoted(folder.path("x.pcapng.zst"))).code == 0);
  CHECK(folder.read("x.pcapng.zst.part") == file_text(capture));
  CHECK(folder.names() == std::vector<std::string>{"x.pcapng.zst", "x.pcapng.zst.part"});
}
