// Captures sorted into days, and the overview of several days.
#include "report/days.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "report/code_words.hpp"
#include "report/day_groups.hpp"

using namespace tramlog;

namespace {

constexpr TimeNs kMonday = 1'795'392'000'000'000'000;  // 2026-11-23 00:00:00 UTC

TimedCapture capture(const std::string& name, double from_h, double to_h) {
  return {name, kMonday + static_cast<TimeNs>(from_h * 3600) * kSecond,
          kMonday + static_cast<TimeNs>(to_h * 3600) * kSecond};
}

std::string words(std::vector<TimedCapture> captures) {
  std::string all;
  for (const DayOfCaptures& day : sort_into_days(std::move(captures))) {
    all += (all.empty() ? "" : " | ") + day.date;
    for (const std::string& path : day.paths) all += " " + path;
  }
  return all;
}

Report day_of(int day, std::size_t dropouts, const std::string& label) {
  Report report;
  Conclusions& all = report.found;
  all.start = kMonday + day * 24 * kHour + 6 * kHour;
  all.end = all.start + 10 * kHour;
  all.buses.resize(1);
  ControllerRecord c;
  c.label = label;
  all.controllers.push_back(c);
  for (std::size_t i = 0; i < dropouts; ++i) {
    Dropout d;
    d.controller = 0;
    d.start.time = all.start + static_cast<TimeNs>(i + 1) * kHour;
    d.judged_until = d.start.time + kMinute;
    all.dropouts.push_back(d);
    all.controllers[0].state = ControllerState::intermittent;
  }
  StoryLine work;
  work.phase = Phase::work;
  work.time = all.start + kHour;
  work.until = all.start + 3 * kHour;
  all.story.push_back(work);
  work.time = all.start + 2 * kHour;  // overlaps
  work.until = all.start + 4 * kHour;
  all.story.push_back(work);
  report.files = {"0123456789abcdef"};
  return report;
}

DaysReport season(int days, const std::string& label) {
  DaysReport report;
  for (int day = 0; day < days; ++day) {
    const Report one = day_of(day, day % 2 == 0 ? 2 : 0, label);
    report.days.push_back(day_record(one, format_date_time(one.found.start).substr(0, 10)));
  }
  return report;
}

}  // namespace

TEST_CASE("a day is what no long quiet parts") {
  CHECK(words({}).empty());
  CHECK(words({capture("b", 13, 18), capture("a", 6, 12)}) == "2026-11-23 a b");
  // Quiet at noon does not part a date; midnight without quiet does not part a night's work.
  CHECK(words({capture("a", 5, 6), capture("b", 20, 23.9), capture("c", 24.1, 26)}) == "2026-11-23 a b c");
  CHECK(words({capture("a", 20, 23), capture("b", 25.1, 26)}) == "2026-11-23 a | 2026-11-24 b");
  CHECK(words({capture("a", 20, 23), capture("b", 24.9, 26), capture("c", 30, 31)}) ==
        "2026-11-23 a b | 2026-11-24 c");
  // A long capture holds its day open; a file within it is no new day.
  CHECK(words({capture("a", 6, 30), capture("b", 25, 26), capture("c", 31, 32)}) ==
        "2026-11-23 a b | 2026-11-24 c" + std::string());
}

TEST_CASE("a recorder that never sleeps has days, too, each date once") {
  std::vector<TimedCapture> captures;
  for (int hour = 6; hour < 24 * 4; ++hour) captures.push_back(capture("h", hour, hour + 1));
  const auto days = sort_into_days(captures);
  std::vector<std::string> dates;
  std::size_t files = 0;
  for (const DayOfCaptures& day : days) {
    dates.push_back(day.date);
    files += day.paths.size();
  }
  CHECK(files == captures.size());
  CHECK(dates == std::vector<std::string>{"2026-11-23", "2026-11-24", "2026-11-25", "2026-11-26"});
}

TEST_CASE("the same trouble is counted across days") {
  const DaysReport report = season(5, "metering front");
  CHECK(report.days[0].worked == 3 * kHour);  // what overlaps counts once
  CHECK(report.days[0].dropouts == 2);
  CHECK(report.days[0].wrong);
  CHECK_FALSE(report.days[1].wrong);
  const auto across = across_days(report);
  REQUIRE(across.size() == 1);
  CHECK(across[0].words == "metering front: dropouts");
  CHECK(across[0].dates == std::vector<std::string>{"2026-11-23", "2026-11-25", "2026-11-27"});
  CHECK(across[0].count == 6);
  const std::string text = days_page(report, false, {});
  CHECK(text.find("  * metering front: dropouts: on 3 of 5 days, first 2026-11-23 07:00, last\n    "
                  "2026-11-27 08:00, 6 times in all.\n") != std::string::npos);
  CHECK(text.find("Something was wrong on 3 of 5 days, last on 2026-11-27.") != std::string::npos);
  const auto json = nlohmann::json::parse(days_json(report));
  CHECK(json["schema"] == "tramlog.days/1");
  CHECK(json["days"].size() == 5);
  CHECK(json["days"][0]["driven_s"] == 10800.0);
  CHECK(json["troubles"][0]["count"] == 6);
}

TEST_CASE("newest trouble first, then what matters more") {
  DaysReport report;
  for (const auto& [date, troubles] : std::vector<std::pair<std::string, std::vector<DayTrouble>>>{
           {"2026-11-23", {{"a", "old", "", 9, 5, 1, 1}, {"b", "both", "", 1, 1, 1, 1}}},
           {"2026-11-24",
            {{"b", "both", "", 1, 1, 2, 2},
             {"c", "light", "", 0, 7, 2, 2},
             {"d", "heavy", "", 4, 1, 2, 2}}}}) {
    DayRecord day;
    day.date = date;
    day.troubles = troubles;
    report.days.push_back(day);
  }
  std::string order;
  for (const AcrossDays& one : across_days(report)) order += one.words + " ";
  CHECK(order == "heavy both light old ");
}

TEST_CASE("an overview keeps its size, its columns and its plain letters") {
  for (const std::string& label :
       {std::string("metering front"), std::string(300, 'x'), std::string("\xC3\xA9\xFF\x1B[31m meter")}) {
    for (const int days : {2, 10, 40, 400}) {
      DaysReport report = season(days, label);
      for (DayRecord& day : report.days) {
        day.main = label + " " + label;
        day.step = label;
        day.machine = label;
        for (int i = 0; i < 30; ++i)
          day.troubles.push_back({label + std::to_string(i), label, label, 0, 1, day.start, day.end});
      }
      report.unreadable.assign(static_cast<std::size_t>(days), label);
      for (const bool brief : {true, false}) {
        const std::string text = days_page(report, brief, {});
        INFO(text);
        std::size_t column = 0, lines = 0;
        bool plain = true, narrow = true;
        for (const char c : text) {
          column = c == '\n' ? 0 : column + 1;
          lines += c == '\n';
          narrow = narrow && column <= 78;
          plain = plain && (c == '\n' || (c >= 0x20 && c < 0x7F));
        }
        CHECK(narrow);
        CHECK(plain);
        if (brief) CHECK(lines < 60);
      }
    }
  }
}

TEST_CASE("pages of days are linked only where they lie, and text cannot break out of them") {
  DaysReport report = season(3, "<script>alert(1)</script>");
  CHECK(days_html(report).find("<a href=") == std::string::npos);
  report.linked = true;
  const std::string page = days_html(report);
  CHECK(page.find("<a href=\"2026-11-25.html\">2026-11-25</a>") != std::string::npos);
  CHECK(page.find("<script>alert") == std::string::npos);
  CHECK(page.find("&lt;script&gt;alert(1)") != std::string::npos);
}

TEST_CASE("a first step never stands without the caution") {
  DaysReport report = season(3, "metering front");
  CHECK(days_page(report, true, {}).find("key out") == std::string::npos);
  CHECK(days_html(report).find("key out") == std::string::npos);
  report.days.back().step = "Plug of the metering unit.";
  for (const bool brief : {false, true})
    CHECK(days_page(report, brief, {}).find("key out") != std::string::npos);
  CHECK(days_html(report).find("key out") != std::string::npos);
}

TEST_CASE("what came is told in words, its code behind them") {
  CHECK(code_heading("supply.shared", "cart, blower") ==
        "a shared supply or ground failed: cart, blower [supply.shared]");
  CHECK(code_heading("total.made-up", "") == "total made up [total.made-up]");
  Report one = day_of(0, 0, "blower");
  Fault fault;
  fault.code = "bus.load-high";
  fault.text = "can0 was loaded.";
  fault.severity = Severity::warning;
  fault.start = one.found.start;
  one.found.faults.push_back(fault);
  DaysReport report;
  report.days.push_back(day_record(one, "2026-11-23"));
  REQUIRE(across_days(report).size() == 1);
  CHECK(across_days(report)[0].words == "high bus load [bus.load-high]");
}
