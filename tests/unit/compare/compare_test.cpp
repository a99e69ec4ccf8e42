// Two reports held against each other: rates of unequal lengths, the mirror, and documents that nobody of us
// wrote.
#include "compare/compare.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <random>
#include <sstream>

#include "compare/judge.hpp"

using namespace tramlog;
using Json = nlohmann::json;

namespace {

std::string file_text(const std::filesystem::path& path) {
  std::ifstream in(path);
  std::stringstream text;
  text << in.rdbuf();
  return text.str();
}

std::vector<CompareSide> all_reports() {
  std::vector<CompareSide> sides;
  std::vector<std::filesystem::path> folders;
  for (const auto& entry : std::filesystem::directory_iterator(TRAMLOG_SOURCE_DIR "/captures"))
    if (std::filesystem::exists(entry.path() / "report.json")) folders.push_back(entry.path());
  std::sort(folders.begin(), folders.end());
  for (const auto& folder : folders) {
    auto side = compare_side(file_text(folder / "report.json"), folder.filename());
    REQUIRE(side.ok());
    sides.push_back(std::move(*side));
  }
  return sides;
}

// What a swap of the sides must keep; who is new without a roster naming it is neither good nor bad.
std::vector<std::string> essence(const Comparison& comparison, bool swapped) {
  std::vector<std::string> lines;
  for (const ChangeLine& line : comparison.lines) {
    Change change = line.change;
    if (swapped && (change == Change::worse || change == Change::better))
      change = change == Change::worse ? Change::better : Change::worse;
    std::string code = line.code;
    const auto mirror = [&](std::string_view from, std::string_view to) {
      if (code.ends_with(from)) code = code.substr(0, code.size() - from.size()) + std::string(to);
    };
    if (swapped) {
      const std::string was = code;
      mirror(".gained", ".cured");
      if (code == was) mirror(".cured", ".gained");
      if (code == was) mirror("controller.gone", "controller.new");
      if (code == was) mirror("controller.new", "controller.gone");
    }
    // Of many lines of a description the first are told, removed ones before added ones.
    if (code == "description.added" || code == "description.removed") code = "description.line";
    if (code == "controller.new" || code == "controller.gone") change = Change::other;
    const auto number = [](const std::optional<double>& value) {
      return value ? std::to_string(*value) : "-";
    };
    const std::string b = number(swapped ? line.after : line.before),
                      a = number(swapped ? line.before : line.after);
    // That something is cured needs more proof than that it came: of what only one side had, the verdict may
    // be open.
    const bool of_events = line.topic == "dropouts" || line.topic == "trouble codes" ||
                           line.topic == "faults" || line.topic == "findings" || line.code == "bus.errors";
    if (of_events && (line.topic == "findings" || b == number(0.0) || a == number(0.0))) {
      lines.push_back("one-sided " + code + " " + b + " " + a);
      continue;
    }
    lines.push_back(std::string(change_code(change)) + " " + code + " " + b + " " + a +
                    (line.too_short ? " short" : ""));
  }
  std::sort(lines.begin(), lines.end());
  return lines;
}

Json report_of(double duration_s, std::size_t dropouts) {
  const Json controller = {
      {"name", "a0088500f3c10011"}, {"bus", "can0"}, {"label", "metering front"}, {"state", "present"}};
  Json list = Json::array();
  for (std::size_t i = 0; i < dropouts; ++i)
    list.push_back({{"controller", "a0088500f3c10011"},
                    {"kind", "controller"},
                    {"duration_s", 2.0},
                    {"end", "2026-04-07T06:00:00Z"}});
  return {{"schema", "tramlog.report/1"},
          {"capture",
           {{"files", {std::to_string(duration_s) + "/" + std::to_string(dropouts)}},
            {"duration_s", duration_s},
            {"start", "2026-04-07T06:00:00.000000000Z"},
            {"buses", {{{"bus", "can0"}, {"bitrate", 250000}}}}}},
          {"controllers", {controller}},
          {"dropouts", list}};
}

Comparison compare_documents(const Json& before, const Json& after) {
  return compare(CompareSide{"before", before, false}, CompareSide{"after", after, false});
}

const ChangeLine* line_of(const Comparison& comparison, const std::string& code) {
  for (const ChangeLine& line : comparison.lines)
    if (line.code == code) return &line;
  return nullptr;
}

}  // namespace

TEST_CASE("a report compared with itself: nothing changed") {
  for (const CompareSide& side : all_reports()) {
    INFO(side.called);
    const Comparison same = compare(side, side);
    CHECK(same.lines.empty());
    CHECK(same.within_noise == 0);
    CHECK(std::string(verdict_of(same)) == "same");
    CHECK(compare_page(same, false).find("Nothing changed.") != std::string::npos);
  }
}

TEST_CASE("swapped sides give the mirrored verdicts") {
  const auto sides = all_reports();
  REQUIRE(sides.size() > 90);
  std::size_t lines = 0, with_worse = 0;
  for (std::size_t step : {1u, 7u, 30u, 48u})
    for (std::size_t i = 0; i < sides.size(); ++i) {
      const CompareSide &a = sides[i], &b = sides[(i + step) % sides.size()];
      INFO(a.called << " against " << b.called);
      const Comparison there = compare(a, b), back = compare(b, a);
      CHECK(essence(there, false) == essence(back, true));
      CHECK(there.count(Change::better) <= back.count(Change::worse));
      CHECK(back.count(Change::better) <= there.count(Change::worse));
      CHECK(there.compared == back.compared);
      CHECK(there.within_noise == back.within_noise);
      CHECK(there.doubts.size() == back.doubts.size());
      lines += there.lines.size();
      with_worse += there.count(Change::worse) > 0;
    }
  CHECK(lines > 1000);
  CHECK(with_worse > 100);
}

TEST_CASE("dropouts are judged by the time in which they could have come") {
  const auto judged = [](double before_s, std::size_t before, double after_s, std::size_t after) {
    const Comparison c = compare_documents(report_of(before_s, before), report_of(after_s, after));
    std::string words = verdict_of(c);
    for (const ChangeLine& line : c.lines) words += " " + line.code + (line.too_short ? " short" : "");
    return words;
  };
  CHECK(judged(60, 0, 60, 1) == "worse dropout.gained");
  CHECK(judged(60, 3, 60, 0) == "better dropout.cured");
  // One in ten hours against a clean ten minutes: they prove nothing.
  CHECK(judged(600, 0, 36000, 1) == "other dropout.gained short");
  CHECK(judged(36000, 1, 600, 0) == "other dropout.cured short");
  // One in a minute and none in the next one may be luck; none in three is none.
  CHECK(judged(60, 1, 60, 0) == "other dropout.cured short");
  CHECK(judged(60, 1, 179, 0) == "other dropout.cured short");
  CHECK(judged(60, 1, 181, 0) == "better dropout.cured");
  CHECK(judged(60, 0, 31, 1) == "worse dropout.gained");
  // One in ten minutes, none in ten hours: sixty should have come.
  CHECK(judged(600, 1, 36000, 0) == "better dropout.cured");
  // Sixty in ten hours and one in ten minutes are the same rate.
  CHECK(judged(36000, 60, 600, 1) == "same");
  CHECK(judged(3600, 10, 3600, 12) == "same");
  CHECK(judged(3600, 10, 3600, 30) == "worse dropout.rate");
  CHECK(judged(3600, 100, 36000, 100) == "better dropout.rate");
  // 2 in 70 min: three are to be expected in 105.
  CHECK(line_of(compare_documents(report_of(4200, 2), report_of(600, 0)), "dropout.cured")
            ->text.find("too short to tell: record at least 105 min") != std::string::npos);
  CHECK(line_of(compare_documents(report_of(36000, 1), report_of(600, 0)), "dropout.cured")
            ->text.find("too short to tell: record at least 30 h") != std::string::npos);
  const Comparison c = compare_documents(report_of(600, 0), report_of(36000, 1));
  CHECK(line_of(c, "dropout.gained")->text.find("too short") != std::string::npos);
  REQUIRE_FALSE(c.doubts.empty());
  CHECK(c.doubts.back().find("very different length") != std::string::npos);
}

TEST_CASE("a finding is called cured by the same rule, one of the set-up at once") {
  const auto cured = [](const char* cause, double after_s) {
    Json before = report_of(60, 0);
    before["findings"] = {{{"cause", cause}, {"text", "It failed."}, {"confidence", "likely"}}};
    const Comparison c = compare_documents(before, report_of(after_s, 0));
    const ChangeLine* line = line_of(c, "finding.cured");
    REQUIRE(line != nullptr);
    return std::string(change_code(line->change)) + ": " + line->text;
  };
  CHECK(cured("supply.unit", 60) ==
        "other: before only: (likely) It failed; too short to tell: record at least 3 min");
  CHECK(cured("supply.unit", 200) == "better: before only: (likely) It failed.");
  CHECK(cured("software.mismatch", 60) == "better: before only: (likely) It failed.");
}

TEST_CASE("time in which the recorder was blind is no time without dropouts") {
  Json before = report_of(3600, 0);
  before["capture"]["buses"][0]["blind"] = {
      {{"start", "2026-04-07T06:00:00Z"}, {"end", "2026-04-07T06:50:00Z"}},
      {{"start", "2026-04-07T06:40:00Z"}, {"end", "2026-04-07T06:59:30Z"}}};
  const Comparison c = compare_documents(before, report_of(3600, 2));
  CHECK(c.before.blind_s == Approx(59.5 * 60));
  CHECK(c.before.heard_s == Approx(30));
  REQUIRE(line_of(c, "dropout.gained") != nullptr);
  CHECK(line_of(c, "dropout.gained")->too_short);
  CHECK(compare_page(c, false).find("DOUBT Before: the recorder was blind for 59 min 30 s of 1 h 00 min") !=
        std::string::npos);
}

TEST_CASE("controllers: another unit of the job, another address, software and parts") {
  Json before = report_of(60, 0), after = report_of(60, 0);
  Json& was = before["controllers"][0];
  Json& is = after["controllers"][0];
  was["addresses"] = {{{"address", 129}}};
  is["addresses"] = {{{"address", 129}}, {{"address", 144}}};
  was["software"] = {"MTR 4.3.1"};
  is["software"] = {"MTR 4.4.0"};
  is["name"] = "a0088500f3c10099";
  was["ecu_identification"] = {{"part_number", "LK-1"}, {"hardware_version", "A"}, {"serial_number", "7"}};
  is["ecu_identification"] = {{"part_number", "LK-1"}, {"hardware_version", "B"}, {"serial_number", "8"}};
  const Comparison c = compare_documents(before, after);
  CHECK(c.lines.size() == 4);
  CHECK(std::string(verdict_of(c)) == "other");
  REQUIRE(line_of(c, "controller.replaced") != nullptr);
  CHECK(line_of(c, "controller.replaced")->text ==
        "another unit does the same job: identity number 65553 before, 65689 after");
  CHECK(line_of(c, "controller.address")->text == "address 129 before, 144 after");
  CHECK(line_of(c, "controller.software")->text == "software \"MTR 4.3.1\" before, \"MTR 4.4.0\" after");
  CHECK(line_of(c, "controller.part")->text == "hardware version \"A\" before, \"B\" after");
  // Who was not asked for software has not lost it.
  is["software"] = Json::array();
  CHECK(line_of(compare_documents(before, after), "controller.software") == nullptr);
  after["controllers"] = Json::array();
  CHECK(line_of(compare_documents(before, after), "controller.gone")->change == Change::worse);
  CHECK(line_of(compare_documents(after, before), "controller.new")->change == Change::better);
}

TEST_CASE("who could not be known on the other side is neither gone nor new") {
  Json before = report_of(60, 0), after = report_of(60, 0);
  constexpr unsigned address = 129;
  before["controllers"][0]["addresses"] = {{{"address", address}}};
  const std::string name = before["controllers"][0]["name"];
  after["controllers"] = Json::array();
  const auto changes = [&] {
    const Comparison there = compare_documents(before, after), back = compare_documents(after, before);
    REQUIRE(line_of(there, "controller.gone") != nullptr);
    REQUIRE(line_of(back, "controller.new") != nullptr);
    CHECK(line_of(there, "controller.gone")->text.find(name) != std::string::npos);
    return std::pair(line_of(there, "controller.gone")->change, line_of(back, "controller.new")->change);
  };
  CHECK(changes().first == Change::worse);
  SECTION("its address talked, and nobody asked who it is") {
    after["unclaimed"] = {{{"address", address}, {"bus", "can0"}, {"frames", 900}}};
    CHECK(changes() == std::pair(Change::other, Change::other));
    CHECK_FALSE(compare_documents(before, after).doubts.empty());
    after["unclaimed"][0]["address"] = address + 1;
    CHECK(changes().first == Change::worse);
  }
  SECTION("a slice") {
    after["recorder"] = {{"notes", {{{"kind", "cut"}, {"text", "part 1 of 1"}}}}};
    CHECK(changes() == std::pair(Change::other, Change::other));
    CHECK_FALSE(compare_documents(before, after).doubts.empty());
  }
  SECTION("nothing was heard") {
    after["capture"]["duration_s"] = 0;
    CHECK(changes() == std::pair(Change::other, Change::other));
  }
}

TEST_CASE("a device description: what changed is told line by line") {
  const auto with = [](std::vector<std::string> outline, const std::string& digest) {
    Json report = report_of(60, 0);
    report["implements"] = {{{"controller", "a0088500f3c10011"},
                             {"address", 129},
                             {"description",
                              {{"objects", outline.size()},
                               {"outline", {{"lines", outline}, {"digest", digest}}},
                               {"software_version", digest}}}}};
    return report;
  };
  const Comparison c = compare_documents(
      with({"element 1 \"Boom\": function", "element 1 DDI 67: property 6000", "element 1 DDI 141: variable"},
           "a"),
      with({"element 1 \"Boom\": function", "element 1 DDI 67: property 6500", "element 1 DDI 160: variable"},
           "b"));
  CHECK(line_of(c, "description.changed")->text ==
        "\"element 1 DDI 67: property 6000\" before, \"element 1 DDI 67: property 6500\" after");
  CHECK(line_of(c, "description.removed")->text == "before only: \"element 1 DDI 141: variable\"");
  CHECK(line_of(c, "description.added")->text == "after only: \"element 1 DDI 160: variable\"");
  CHECK(line_of(c, "description.head")->text == "software version \"a\" before, \"b\" after");
  CHECK(c.lines.size() == 4);
  std::vector<std::string> many, others;
  for (int i = 0; i < 100; ++i) {
    many.push_back("element " + std::to_string(i) + " DDI 1: property 1");
    others.push_back("element " + std::to_string(i) + " DDI 1: property 2");
  }
  const Comparison all = compare_documents(with(many, "a"), with(others, "b"));
  CHECK(all.lines.size() == 14);  // twelve, how many more, and the version
  CHECK(line_of(all, "description.more")->text.starts_with("88 more lines"));
}

TEST_CASE("figures: beyond the noise only, and an error to either side is an error") {
  CHECK_FALSE(judge_figure(0.5, 0.79, noise::kDelayS).differs);
  CHECK(judge_figure(0.5, 0.9, noise::kDelayS).change == Change::worse);
  CHECK(judge_figure(0.9, 0.5, noise::kDelayS).change == Change::better);
  CHECK_FALSE(judge_figure(4.0, 4.9, noise::kDelayS).differs);  // a quarter
  CHECK(judge_figure(4.0, 5.5, noise::kDelayS).change == Change::worse);
  Json before = report_of(60, 0), after = report_of(60, 0);
  const auto totals = [](double difference) {
    return Json{
        {{"controller", "a0088500f3c10011"},
         {"totals", {{{"element", 0}, {"ddi", 116}, {"subject", "Boom"}, {"difference_pct", difference}}}}}};
  };
  before["implements"] = totals(-8.0);
  after["implements"] = totals(0.5);
  const Comparison c = compare_documents(before, after);
  REQUIRE(line_of(c, "total.differs") != nullptr);
  CHECK(line_of(c, "total.differs")->change == Change::better);
  after["implements"] = totals(8.1);
  CHECK(compare_documents(before, after).lines.empty());
}

TEST_CASE("bus load: more is worse only where it begins to hurt") {
  Json before = report_of(60, 0), after = report_of(60, 0);
  const auto load = [](Json& report, double mean) { report["capture"]["buses"][0]["load_mean_pct"] = mean; };
  const auto change = [&](double b, double a) {
    load(before, b);
    load(after, a);
    const Comparison c = compare_documents(before, after);
    return c.lines.empty() ? std::string("same") : std::string(change_code(c.lines.front().change));
  };
  CHECK(change(20, 24) == "same");
  CHECK(change(20, 30) == "other");
  CHECK(change(40, 60) == "worse");
  CHECK(change(60, 40) == "better");
}

TEST_CASE("a text that is no report is refused with a sentence") {
  for (const char* text :
       {"", "{", "[]", "3", "{}", "{\"schema\": 3}", "{\"schema\": \"tramlog.devices/1\"}", "\xFF\xFE{}"})
    CHECK_FALSE(compare_side(text, "x").ok());
  std::string deep = "{\"schema\":\"tramlog.report/1\",\"a\":";
  for (int i = 0; i < 100'000; ++i) deep += '[';
  CHECK_FALSE(compare_side(deep, "x").ok());
  for (int i = 0; i < 100'000; ++i) deep += ']';
  CHECK_FALSE(compare_side(deep + "}", "x").ok());
  CHECK(compare_side("{\"schema\":\"tramlog.report/1\"}", "x").ok());
}

TEST_CASE("anything may stand in a report") {
  const auto sides = all_reports();
  std::mt19937 random(20260407);
  const Json junk[] = {nullptr,
                       true,
                       -1,
                       1e308,
                       18446744073709551615u,
                       "",
                       "x\xFF\n",
                       Json::array(),
                       Json::object(),
                       Json::array({Json::array()}),
                       "/faults/99999999999999999999",
                       "ffffffffffffffff"};
  const auto spoil = [&](Json& document) {
    for (int change = 0; change < 20; ++change) {
      Json* at = &document;
      for (int depth = 0; depth < 8 && at->is_structured() && !at->empty(); ++depth) {
        auto next = at->begin();
        std::advance(next, random() % at->size());
        at = &*next;
        if (random() % 4 == 0) break;
      }
      if (at != &document) *at = junk[random() % std::size(junk)];
    }
  };
  for (int round = 0; round < 300; ++round) {
    CompareSide a = sides[random() % sides.size()], b = sides[random() % sides.size()];
    spoil(a.report);
    if (round % 2 == 0) spoil(b.report);
    const Comparison there = compare(a, b), back = compare(b, a);
    CHECK(there.lines.size() == back.lines.size());
    CHECK_FALSE(compare_page(there, false).empty());
    CHECK(Json::parse(compare_json(there))["schema"] == "tramlog.compare/1");
    CHECK(compare_html(there).find("</html>") != std::string::npos);
    CHECK(compare(a, a).lines.empty());
  }
}

TEST_CASE("the answer names the worst things in words, at most three") {
  Json after = report_of(60, 2);
  const std::string one = compare_page(compare_documents(report_of(60, 0), after), false);
  const std::string answer = one.substr(0, one.find("\nWORSE\n"));
  CHECK(answer.find("    WORSE  metering front: dropouts after only: 2 in 1 min 00 s") != std::string::npos);
  after["findings"] = Json::array();
  for (const char* cause : {"supply.shared", "unit.lost", "wiring.trunk", "bus.overload"})
    after["findings"].push_back({{"cause", cause}, {"text", "It failed."}, {"confidence", "likely"}});
  const Comparison many = compare_documents(report_of(60, 0), after);
  const std::string page = compare_page(many, false);
  std::size_t named = 0;
  for (std::size_t at = 0; (at = page.find("    WORSE  ", at)) != std::string::npos; ++at) ++named;
  CHECK(named == 3);
  CHECK(compare_html(many).find("<li>a shared supply or ground failed [supply.shared]: after only") !=
        std::string::npos);
  CHECK(compare_page(compare_documents(after, after), false).find("WORSE") == std::string::npos);
}

TEST_CASE("one trouble is one line: its second cause and what it explains are words in it") {
  Json after = report_of(60, 2);
  after["faults"] = {{{"code", "controller.restart-series"},
                      {"severity", "fault"},
                      {"text", "It started again twice."},
                      {"controllers", {"a0088500f3c10011"}}}};
  const Json explains = {"/dropouts/0", "/dropouts/1", "/faults/0"};
  after["findings"] = {{{"cause", "unit.lost"},
                        {"text", "It failed."},
                        {"confidence", "likely"},
                        {"tell_apart", "Look."},
                        {"explains", explains}},
                       {{"cause", "wiring.stub"},
                        {"text", "The wires opened."},
                        {"confidence", "possible"},
                        {"tell_apart", "Look."},
                        {"explains", explains}}};
  const Comparison gained = compare_documents(report_of(60, 0), after);
  REQUIRE(gained.lines.size() == 1);
  CHECK(gained.count(Change::worse) == 1);
  CHECK(gained.lines[0].code == "finding.gained");
  CHECK(gained.lines[0].text.starts_with("after only: (likely) It failed; or else (possible) "));
  CHECK(gained.lines[0].text.find("[wiring.stub]; counted in it: 2 dropouts of metering front, ") !=
        std::string::npos);
  REQUIRE(gained.lines[0].counted.size() == 2);
  CHECK(gained.lines[0].counted[0].code == "dropout.gained");
  CHECK(gained.lines[0].counted[0].after == 2.0);
  CHECK(Json::parse(compare_json(gained))["changes"][0]["counted"].size() == 2);
  // Ten minutes without it: the dropouts prove that it is cured.
  const Comparison cured = compare_documents(after, report_of(600, 0));
  REQUIRE(cured.lines.size() == 1);
  CHECK(cured.lines[0].change == Change::better);
  // A dropout that no finding explains is one of its own.
  after["findings"][0]["explains"] = {"/dropouts/0", "/faults/0"};
  after["findings"].erase(1);
  CHECK(line_of(compare_documents(report_of(60, 0), after), "dropout.gained") != nullptr);
  // The same incident, only the other way round, is no change.
  Json turned = after;
  after["findings"][0]["explains"] = explains;
  after["findings"].push_back({{"cause", "wiring.stub"},
                               {"text", "The wires opened."},
                               {"confidence", "possible"},
                               {"tell_apart", "Look."},
                               {"explains", explains}});
  turned["findings"][0]["cause"] = "wiring.stub";
  CHECK(compare_documents(after, turned).lines.empty());
}

TEST_CASE("a note that came or went is a change that is no fault") {
  const auto noting = [](const char* code) {
    Json report = report_of(60, 0);
    report["faults"] = {{{"code", code},
                         {"severity", "note"},
                         {"text", "It stopped."},
                         {"controllers", {"a0088500f3c10011"}}}};
    return report;
  };
  const Json stopped = noting("controller.message-stopped");
  const Comparison came = compare_documents(report_of(60, 0), stopped);
  REQUIRE(came.lines.size() == 1);
  CHECK(came.lines[0].change == Change::noted);
  CHECK(came.lines[0].text.ends_with("[controller.message-stopped], after only: It stopped."));
  CHECK(std::string(verdict_of(came)) == "changed");
  CHECK(compare_page(came, false).find("Nothing got worse, 1 changed without being a fault.") !=
        std::string::npos);
  const Comparison went = compare_documents(stopped, report_of(60, 0));
  REQUIRE(went.lines.size() == 1);
  CHECK(went.lines[0].text.find(", before only: ") != std::string::npos);
  CHECK(compare_documents(stopped, stopped).lines.empty());
  for (const char* code : {"recorder.disk", "capture.clock-step", "machine.key-off"})
    CHECK(compare_documents(report_of(60, 0), noting(code)).lines.empty());
}

TEST_CASE("numbers of a private side are stand-ins: units are told apart by job and address") {
  const auto machine = [](std::vector<std::pair<const char*, unsigned>> units) {
    Json report = report_of(60, 0);
    report["controllers"] = Json::array();
    for (const auto& [name, address] : units)
      report["controllers"].push_back({{"name", name},
                                       {"addresses", {{{"address", address}}}},
                                       {"product_identification", {{"code", name}}}});
    return report;
  };
  const Json before = machine({{"a0088500f3c10011", 129}, {"a0088500f3c10012", 130}});
  // The stand-in of one unit is by chance the true number of the other.
  const Json after = machine({{"a0088500f3c10012", 129}, {"a0088500f3c10013", 130}});
  CHECK(line_of(compare_documents(before, after), "controller.replaced") != nullptr);
  Json marked = after;
  marked["capture"]["private"] = true;
  const Comparison by_mark = compare_documents(before, marked);
  CHECK(by_mark.lines.empty());
  CHECK(compare_page(by_mark, false).find("DOUBT The side after is private: its identity") !=
        std::string::npos);
  const Comparison by_parcel = compare({"before", before, true}, {"after", after, true});
  CHECK(by_parcel.lines.empty());
  CHECK(compare_page(by_parcel, false).find("DOUBT Both sides are private") != std::string::npos);
}
