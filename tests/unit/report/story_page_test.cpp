// What happened in order, as text and as JSON.
#include "report/story_page.hpp"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "report/format.hpp"

using namespace tramlog;

namespace {

constexpr TimeNs kNoon = 1'775'563'200 * kSecond;  // 2026-04-07 12:00:00

Conclusions told() {
  Conclusions all;
  all.start = kNoon;
  all.end = kNoon + kHour;
  all.story.push_back(
      {kNoon + 1'999 * kMillisecond, kNoon + 3 * kSecond, Phase::start_up, "3 units start", {}});
  all.story.push_back({kNoon + kMinute, std::nullopt, Phase::trouble, "unit falls silent", 11});
  all.story.push_back({kNoon + kHour, std::nullopt, Phase::end, "the recording ends", {}});
  return all;
}

std::string page_of(const Conclusions& all) {
  Page page(false);
  story_page(page, all);
  return page.take();
}

}  // namespace

TEST_CASE("The story as text: time, what, number of the finding") {
  CHECK(page_of(told()) ==
        "\nWHAT HAPPENED, IN ORDER (UTC; [1]: finding 1)\n"
        "  12:00:01  3 units start\n"
        "  12:01:00  unit falls silent [12]\n"
        "  13:00:00  the recording ends\n");
  CHECK(page_of(Conclusions()).empty());
}

TEST_CASE("Over several days the story says which day, and still fits the page") {
  Conclusions all = told();
  all.story.back().time = kNoon + 20 * kHour;
  // The longest that tell_story() gives.
  all.story[0].text = std::string(62, 'a');
  all.story[1].text = std::string(56, 'b');
  all.story[1].finding = 2'998;
  CHECK(page_of(all) ==
        "\nWHAT HAPPENED, IN ORDER (day and time, UTC; [1]: finding 1)\n"
        "  07 12:00:01  " +
            std::string(62, 'a') +
            "\n"
            "  07 12:01:00  " +
            std::string(56, 'b') +
            " [2999]\n"
            "  08 08:00:00  the recording ends\n");
}

TEST_CASE("Over several months the seconds give way to the month") {
  Conclusions all = told();
  all.story.back().time = kNoon + 30 * 24 * kHour;
  CHECK(page_of(all) ==
        "\nWHAT HAPPENED, IN ORDER (date and time, UTC; [1]: finding 1)\n"
        "  04-07 12:00  3 units start\n"
        "  04-07 12:01  unit falls silent [12]\n"
        "  05-07 12:00  the recording ends\n");
}

TEST_CASE("The story in JSON, after the findings") {
  Report report;
  report.found = told();
  const auto json = nlohmann::ordered_json::parse(find_format("json")->report(report, {}));
  const auto& story = json.at("story");
  REQUIRE(story.size() == 3);
  CHECK(story[0].dump() ==
        R"({"time":"2026-04-07T12:00:01.999000000Z","until":"2026-04-07T12:00:03.000000000Z",)"
        R"("phase":"start-up","text":"3 units start","finding":null})");
  CHECK(story[1].at("until").is_null());
  CHECK(story[1].at("finding") == 12);
  CHECK(story[2].at("phase") == "end");
  std::vector<std::string> keys;
  for (const auto& [key, value] : json.items()) keys.push_back(key);
  const auto findings = std::find(keys.begin(), keys.end(), "findings");
  REQUIRE(findings != keys.end());
  CHECK(*(findings + 1) == "story");
}
