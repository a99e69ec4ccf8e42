// The HTML report as a file: well formed, every link leads somewhere, every picture shows what was found.
#include <catch2/catch.hpp>
#include <cmath>
#include <set>
#include <string>
#include <vector>

#include "exam/story.hpp"
#include "report/format.hpp"
#include "report/html/time_axis.hpp"
#include "unit/exam/scenes.hpp"

using namespace tramlog;

namespace {

std::string page_of(const Conclusions& all, const FormatOptions& options = {}) {
  Report report;
  report.files = {"0123456789abcdef"};
  report.names = {"monday.pcapng"};
  report.found = all;
  return find_format("html")->report(report, options);
}

std::size_t times(const std::string& text, const std::string& words) {
  std::size_t count = 0;
  for (std::size_t at = 0; (at = text.find(words, at)) != std::string::npos; at += words.size()) ++count;
  return count;
}

// What is wrong with the tags of a page; empty: every element is closed in its turn, and attributes are
// quoted.
std::string tag_trouble(const std::string& page) {
  const std::set<std::string> alone = {"!DOCTYPE", "meta", "br"};
  std::vector<std::string> open;
  for (std::size_t at = 0; (at = page.find('<', at)) != std::string::npos;) {
    std::size_t end = at + 1;
    bool quoted = false;
    for (; end < page.size() && (quoted || page[end] != '>'); ++end) {
      if (page[end] == '"') quoted = !quoted;
      if (page[end] == '<') return "'<' within a tag: " + page.substr(at, 60);
    }
    if (end == page.size()) return "a tag without end: " + page.substr(at, 60);
    const std::string tag = page.substr(at + 1, end - at - 1);
    const std::string name =
        tag.substr(tag[0] == '/' ? 1 : 0, tag.find_first_of(" /\n", 1) - (tag[0] == '/' ? 1 : 0));
    at = end + 1;
    if (tag[0] == '/') {
      const std::string closed = tag.substr(1);
      if (open.empty() || open.back() != closed)
        return "</" + closed + "> closes " + (open.empty() ? "nothing" : open.back());
      open.pop_back();
    } else if (tag.back() != '/' && alone.count(name) == 0) {
      open.push_back(name);
      if (name == "style" || name == "script") at = page.find("</" + name + ">", at);  // no tags within
    }
  }
  return open.empty() ? "" : open.back() + " is never closed";
}

std::string link_trouble(const std::string& page) {
  std::set<std::string> places;
  for (std::size_t at = 0; (at = page.find(" id=\"", at)) != std::string::npos;) {
    at += 5;
    if (!places.insert(page.substr(at, page.find('"', at) - at)).second)
      return "two of one name: " + page.substr(at, 30);
  }
  for (std::size_t at = 0; (at = page.find("href=\"#", at)) != std::string::npos;) {
    at += 7;
    const std::string target = page.substr(at, page.find('"', at) - at);
    if (places.count(target) == 0) return "leads nowhere: " + target;
  }
  return "";
}

HandMade busy_day() {
  HandMade b;
  b.all.end = HandMade::at(36'000);
  for (ControllerRecord& c : b.all.controllers) c.last_seen = HandMade::mark(35'999);
  for (unsigned i = 0; i < 500; ++i) b.drop(i % 6, 50 + 70.0 * i, 53 + 70.0 * i, i % 2 == 0, i / 4 + 1);
  for (int i = 0; i < 10; ++i) b.fault("controller.message-stopped", 40 + i, {1});
  b.dtc(2, 168, 1, 400);
  b.all.findings = b.findings();
  b.all.story = tell_story(b.all, b.seen);
  return b;
}

}  // namespace

TEST_CASE("The checker of tags sees what is wrong") {
  CHECK(tag_trouble("<p>a</p>").empty());
  CHECK(tag_trouble("<p>a<b></p></b>") != "");
  CHECK(tag_trouble("<p>a") != "");
  CHECK(tag_trouble("<p title=\"a<b\">x</p>") != "");
  CHECK(link_trouble("<p id=\"a\"><a href=\"#b\">x</a>") != "");
}

TEST_CASE(
    "Five hundred dropouts: well formed, all in the picture and in the table, the same bytes every time") {
  const HandMade day = busy_day();
  REQUIRE(day.all.dropouts.size() == 500);
  const std::string page = page_of(day.all);
  CHECK(tag_trouble(page) == "");
  CHECK(link_trouble(page) == "");
  const std::size_t pictures = page.find("id=\"pictures\""), table = page.find("<section id=\"dropouts\"");
  REQUIRE(pictures < table);
  const std::string lanes = page.substr(pictures, page.find("</section>", pictures) - pictures);
  CHECK(times(lanes, "silent for 3.00 s") == 500);
  CHECK(times(lanes, "class=\"again\"") ==
        251);  // every second one came back with a claim; one in the legend
  const std::string rows = page.substr(table, page.find("</section>", table) - table);
  CHECK(times(rows, "<tr role=\"row\">") == 501);
  CHECK(rows.find("All 500 dropouts") != std::string::npos);
  CHECK(page == page_of(day.all));
  CHECK(page.size() < 1'000'000);
}

TEST_CASE("The answer and the findings have the words of the text report") {
  const HandMade day = busy_day();
  const std::string page = page_of(day.all);
  REQUIRE_FALSE(day.all.findings.empty());
  for (const Finding& finding : day.all.findings) {
    CHECK(page.find(Html(finding.text).code()) != std::string::npos);
    for (const std::string& step : finding.next_steps)
      CHECK(page.find(Html(step).code()) != std::string::npos);
    for (const std::string& why : finding.why) CHECK(page.find(Html(why).code()) != std::string::npos);
  }
  CHECK(page.find("engine off, key out") != std::string::npos);
  CHECK(page.find("id=\"answer\"") < page.find("id=\"main-findings\""));
  CHECK(page.find("id=\"main-findings\"") < page.find("id=\"roll-call\""));
  CHECK(page.find("id=\"roll-call\"") < page.find("id=\"pictures\""));
  CHECK(page.find("monday.pcapng, 0123456789abcdef") != std::string::npos);
  CHECK(page.find("SPN 168 FMI 1") != std::string::npos);
}

TEST_CASE("Lists that are too long say how much is not listed") {
  HandMade b;
  for (int i = 0; i < 700; ++i) b.drop(1, 0.8 * i, 0.8 * i + 0.5, false);
  for (int i = 0; i < 400; ++i) b.fault("bus.load", i);
  const std::string page = page_of(b.all);
  CHECK(page.find("The first 600 of 700 are listed here") != std::string::npos);
  CHECK(page.find("The first 300 of 400 are listed here") != std::string::npos);
  CHECK(tag_trouble(page) == "");
}

TEST_CASE("Who never came has an empty lane, who was lost says so, and the place is told only if it may be") {
  HandMade b;
  b.on_supply(2, "cart");
  RollcallEntry gone;
  gone.label = "metering front";
  b.all.rollcall->entries.push_back(gone);
  b.drop(3, 300, 0, false);
  b.all.machine.place = MachineRecord::Place{-52.5, 4.25};
  b.all.machine.hours_first = b.all.machine.hours_last = 812.5;
  const std::string page = page_of(b.all);
  CHECK(page.find("aria-label=\"metering front: never heard\"") != std::string::npos);
  CHECK(times(page, "<span class=\"b trouble\">lost</span>") >= 1);
  CHECK(page.find("52.50000 S") == std::string::npos);
  CHECK(page.find("812.50") != std::string::npos);
  FormatOptions place;
  place.place = true;
  CHECK(page_of(b.all, place).find("52.50000 S, 4.25000 E") != std::string::npos);
}

TEST_CASE("Nothing read: a page all the same, without pictures") {
  const std::string page = page_of({});
  CHECK(tag_trouble(page) == "");
  CHECK(link_trouble(page) == "");
  CHECK(page.find("no CAN frame at all") != std::string::npos);
  CHECK(page.find("<svg") == std::string::npos);
}

TEST_CASE("Any two times make an axis") {
  for (const auto& [from, to] : std::vector<std::pair<TimeNs, TimeNs>>{{0, 0},
                                                                       {5, 4},
                                                                       {INT64_MIN, INT64_MAX},
                                                                       {INT64_MAX, INT64_MAX},
                                                                       {INT64_MIN, INT64_MIN},
                                                                       {-1, 1},
                                                                       {0, 1}}) {
    const TimeAxis axis(from, to);
    for (const TimeNs t : {from, to, TimeNs{0}, INT64_MIN, INT64_MAX}) {
      CHECK(axis.x(t) >= 0);
      CHECK(axis.x(t) <= TimeAxis::kWidth);
    }
    CHECK(times(axis.ticks().code(), "<span") <= 8);
  }
  const TimeAxis day(HandMade::at(0), HandMade::at(36'000));  // from 06:12 on
  CHECK(day.x(HandMade::at(18'000)) == Approx(500));
  const std::string ticks = day.ticks().code();
  CHECK(ticks.find(">08:00<") != std::string::npos);
  CHECK(ticks.find("left:18%") != std::string::npos);  // 1 h 48 min of 10 h
  CHECK(ticks.find(">09:00<") == std::string::npos);
}

TEST_CASE("Steps and grounds are drawn where something was told, and only there") {
  const float hole = NAN;
  const std::vector<float> values = {0, 0, 1, hole, 0.5F};
  const StepPicture picture{100, 2, 0, 1, 100, 0};
  // From the lower edge (100) two steps on, up by 100, one step; then anew at half height.
  CHECK(html_steps("s", picture, values).code() ==
        "<path class=\"s\" transform=\"translate(100 0) scale(2.00000 1)\" d=\"M0 100h2v-100h1M4 50h1\"/>");
  CHECK(html_area("a", picture, {}, values).code() ==
        "<path class=\"a\" transform=\"translate(100 0) scale(2.00000 1)\" "
        "d=\"M0 100h2v-100h1V100h-3ZM4 50h1V100h-1Z\"/>");
  const std::vector<float> low = {0, 0, 0.5F, 0, hole};
  CHECK(html_area("a", picture, low, values).code() ==
        "<path class=\"a\" transform=\"translate(100 0) scale(2.00000 1)\" "
        "d=\"M0 100h2v-100h1V50h-1v50h-2Z\"/>");
  CHECK(html_steps("s", picture, std::vector<float>{hole, hole}).empty());
  CHECK(html_steps("s", picture, std::vector<float>{INFINITY, -5, 7}).code().find("M1 100h1v-100h1") !=
        std::string::npos);
}

TEST_CASE("Steps keep their width where the recording begins within a second") {
  const Report report = [] {
    Report one;
    one.files = {"0123456789abcdef"};
    Conclusions& all = one.found;
    all.frames = 1;
    all.buses.resize(1);
    all.series.start = HandMade::at(100);
    all.series.step = kSecond;
    all.series.steps = 11;
    all.series.loads.resize(1);
    all.series.loads[0].mean_pct.assign(11, 10.0F);
    all.series.loads[0].peak_pct.assign(11, 20.0F);
    return one;
  }();
  const auto drawn = [&](double start_s, double end_s) {
    Report one = report;
    one.found.start = HandMade::at(start_s);
    one.found.end = HandMade::at(end_s);
    return find_format("html")->report(one, {});
  };
  // 10 s are 1000 units: a step is 100, and what of the first one lies before the start is cut off.
  CHECK(times(drawn(100.5, 110.5), "translate(-50 0) scale(100.00000 1)") == 2);
  CHECK(times(drawn(100.956, 110.956), "translate(-95.6 0) scale(100.00000 1)") == 2);
  CHECK(times(drawn(100, 110), "translate(0 0) scale(100.00000 1)") == 2);
}

TEST_CASE("Each main finding stands with its first step, and the caution with them") {
  HandMade b;
  b.fault("meter.at-limit", 100);
  const auto top = [](const Conclusions& all) {
    const std::string page = page_of(all);
    const std::size_t begin = page.find("<section id=\"main-findings\"");
    REQUIRE(begin != std::string::npos);
    return page.substr(begin, page.find("</section>", begin) - begin);
  };
  const std::string of_fault = top(b.all);
  CHECK(of_fault.find("Set rate and speed against what that meter can deliver") != std::string::npos);
  CHECK(of_fault.find("engine off, key out") != std::string::npos);
  const HandMade day = busy_day();
  REQUIRE_FALSE(day.all.findings.front().next_steps.empty());
  const std::string of_finding = top(day.all);
  CHECK(of_finding.find("First: </strong>" + Html(day.all.findings.front().next_steps.front()).code()) !=
        std::string::npos);
  CHECK(times(of_finding, "engine off, key out") == 1);
}

TEST_CASE("Presence ends where the day ends, and is broken off where nobody heard or nobody spoke") {
  Conclusions all;
  all.start = HandMade::at(0);
  all.end = HandMade::at(1000);
  all.frames = 1;
  all.buses.resize(1);
  all.controllers.resize(1);
  all.controllers[0].label = "seldom";
  all.controllers[0].first_seen = HandMade::mark(100);
  all.controllers[0].last_seen = HandMade::mark(400);
  const auto lane = [&] {
    const std::string page = page_of(all);
    const std::size_t begin = page.find("aria-label=\"seldom");
    REQUIRE(begin != std::string::npos);
    return page.substr(begin, page.find("</svg>", begin) - begin);
  };
  CHECK(lane().find("class=\"here\" x=\"100\" y=\"22\" width=\"900\"") != std::string::npos);
  // Two spans that overlap, one that the slice left out, and a silence.
  BlindSpan omitted{HandMade::at(500), HandMade::at(600), std::nullopt, "left out", Deafness::left_out};
  all.buses[0].blind = {{HandMade::at(200), HandMade::at(300), 1, "overrun"},
                        {HandMade::at(250), HandMade::at(310), 1, "overrun"},
                        omitted};
  all.silences.resize(1);
  all.silences[0].start = HandMade::mark(800);
  all.silences[0].judged_until = HandMade::at(850);
  const std::string broken = lane();
  CHECK(times(broken, "class=\"here\"") == 4);
  for (const char* piece : {"x=\"100\" y=\"22\" width=\"100\"", "x=\"310\" y=\"22\" width=\"190\"",
                            "x=\"600\" y=\"22\" width=\"200\"", "x=\"850\" y=\"22\" width=\"150\""})
    CHECK(broken.find(piece) != std::string::npos);
  CHECK(times(broken, "class=\"deaf\"") == 2);
  CHECK(times(broken, "class=\"omitted\"") == 1);
  CHECK(page_of(all).find("left out of this slice</span>") != std::string::npos);
  all.controllers[0].state = ControllerState::lost;
  CHECK(lane().find("x=\"310\" y=\"22\" width=\"90\"") != std::string::npos);
}
