#include "decode/json_lines.hpp"

#include <nlohmann/json.hpp>

#include "decode/json_pieces.hpp"
#include "unit/decode/decode_bench.hpp"

using namespace tramlog;
using namespace tramlog::test;
using nlohmann::json;

namespace {

const Payload kSpeed{0xD0, 0x09, 0x10, 0x27, 0x00, 0x00, 0xFF, 0xF7};
constexpr std::uint32_t kSpeedId = make_id(3, 0xFE48, 0xF0);

std::vector<std::string> raw_lines(const Traffic& traffic, const JsonLinesOptions& options = {},
                                   const DecodeFilter& filter = {}) {
  static const Schema schema = test_schema();
  std::string text;
  {
    // A small buffer, so that lines are flushed in the middle.
    OutputBuffer out([&](std::string_view piece) { text += piece; }, 300);
    const auto sink = make_json_lines(out, options);
    auto made = Interpreter::make(schema, filter, std::nullopt, *sink);
    REQUIRE(made.ok());
    (*made)->take(traffic.events());
    (*made)->finish();
  }
  std::vector<std::string> lines;
  for (std::size_t at = 0, end; at < text.size(); at = end + 1) {
    end = text.find('\n', at);
    REQUIRE(end != std::string::npos);
    lines.push_back(text.substr(at, end - at));
  }
  return lines;
}

std::vector<json> lines_of(const Traffic& traffic, const JsonLinesOptions& options = {},
                           const DecodeFilter& filter = {}) {
  std::vector<json> lines;
  for (const std::string& line : raw_lines(traffic, options, filter)) lines.push_back(json::parse(line));
  return lines;
}

}  // namespace

TEST_CASE("a message is one line with everything in it") {
  const auto lines = raw_lines(Traffic().claim(0, 0xF0, kTractor).frame(0.000000001, kSpeedId, kSpeed));
  REQUIRE(lines.size() == 2);
  CHECK(
      lines[1] ==
      R"({"time":"2026-04-07T06:12:00.000000001Z","frame":2,"bus":"can0","pgn":65096,"message":"WheelSpeed",)"
      R"("source":240,"name":"2000860000001234","from":")" +
          function_term(Name(kTractor)) +
          R"(","destination":255,"to":"all","priority":3,"signals":[)"
          R"({"name":"Speed","value":2.512,"unit":"m/s"},{"name":"Distance","value":10.000,"unit":"m"},)"
          R"({"name":"KeySwitch","value":1,"text":"not off"}]})");
}

TEST_CASE("what is no value says why") {
  const auto lines = lines_of(Traffic()
                                  .frame(0, kSpeedId, Payload(8, 0xFF))
                                  .frame(1, kSpeedId, {0xFF, 0xFE, 0x10, 0x27, 0, 0, 0xFF, 0xFB})
                                  .frame(2, kSpeedId, {0x01, 0x00}));
  REQUIRE(lines.size() == 3);
  const json& absent = lines[0]["signals"];
  REQUIRE(absent.size() == 3);
  CHECK(absent[0]["value"].is_null());
  CHECK(absent[0]["state"] == "not-available");
  CHECK(absent[0].count("raw") == 0);
  CHECK(absent[2]["text"] == "not available");
  CHECK(absent[2]["state"] == "not-available");
  const json& wrong = lines[1]["signals"];
  CHECK(wrong[0]["state"] == "error");
  CHECK(wrong[0]["raw"] == 0xFEFF);
  CHECK(wrong[1]["value"] == 10.0);
  CHECK(wrong[1].count("state") == 0);
  CHECK(wrong[2]["text"] == "error");
  CHECK(wrong[2]["raw"] == 2);
  const json& cut = lines[2]["signals"];
  CHECK(cut[0]["value"] == 0.001);
  CHECK(cut[1]["state"] == "cut-off");
  CHECK(cut[1]["value"].is_null());
}

TEST_CASE("a repeated payload gives the same text, a new one its own") {
  Traffic traffic;
  traffic.frame(0, kSpeedId, kSpeed)
      .frame(1, kSpeedId, kSpeed)
      .frame(2, kSpeedId, Payload(8, 0))
      .frame(3, make_id(3, 0xFE48, 0x21), kSpeed)
      .frame(4, kSpeedId, kSpeed)
      .claim(5, 0xF0, kTractor)
      .frame(6, kSpeedId, kSpeed);
  const auto lines = lines_of(traffic);
  REQUIRE(lines.size() == 7);
  CHECK(lines[1]["signals"] == lines[0]["signals"]);
  CHECK(lines[2]["signals"][0]["value"] == 0);
  CHECK(lines[3]["signals"] == lines[0]["signals"]);
  CHECK(lines[4]["signals"] == lines[0]["signals"]);
  CHECK(lines[4]["name"].is_null());
  CHECK(lines[6]["signals"] == lines[0]["signals"]);
  CHECK(lines[6]["name"] == "2000860000001234");
  CHECK(lines[6]["time"] == "2026-04-07T06:12:06.000000000Z");
}

TEST_CASE("unknown messages and transfers show their bytes and frames") {
  Payload text;
  for (std::uint8_t i = 0; i < 14; ++i) text.push_back(i);
  Traffic traffic;
  traffic.bam(1, 0xFF21, 0x80, text).bam(2, 0xFF22, 0x80, text).frame(3, 0x7FF, {0xAB, 0x0C}, 0, 0);
  const auto lines = lines_of(traffic);
  REQUIRE(lines.size() == 3);
  CHECK(lines[0]["message"] == "LongTexts");
  CHECK(lines[0]["frames"] == json::array({1, 3}));
  CHECK(lines[0]["frame"] == 3);
  CHECK(lines[0]["transfer"] == "bam");
  CHECK(lines[0].count("data") == 0);
  CHECK(lines[1]["message"].is_null());
  CHECK(lines[1]["data"] == "000102030405060708090a0b0c0d");
  CHECK(lines[1]["signals"].empty());
  CHECK(lines[2]["pgn"].is_null());
  CHECK(lines[2]["id"] == 0x7FF);
  CHECK(lines[2]["source"].is_null());
  CHECK(lines[2]["data"] == "ab0c");
  JsonLinesOptions with_data;
  with_data.data = true;
  CHECK(lines_of(traffic, with_data)[0]["data"] == "000102030405060708090a0b0c0d");
}

TEST_CASE("kinds of frames are flags") {
  Traffic traffic;
  traffic.frame(0, kSpeedId, {}, 0, kExtendedId | kRemote)
      .frame(1, kSpeedId, Payload(12, 0), 0, kExtendedId | kFd | kOutbound)
      .frame(2, kSpeedId, Payload(2, 0), 0, kExtendedId | kShortData | kUntimed);
  const auto lines = lines_of(traffic);
  REQUIRE(lines.size() == 3);
  CHECK(lines[0]["flags"] == json::array({"remote"}));
  CHECK(lines[1]["flags"] == json::array({"fd", "outbound"}));
  CHECK(lines[2]["flags"] == json::array({"short", "untimed"}));
}

TEST_CASE("events stand between the messages") {
  Traffic traffic;
  traffic.error(1).notice(2, Counters{10, 0, 0}).notice(3, Damage{100, 28, "say \"no\"", 0});
  const auto lines = lines_of(traffic);
  REQUIRE(lines.size() == 3);
  CHECK(lines[0]["event"] == "error-frame");
  CHECK(lines[0]["frame"] == 1);
  CHECK(lines[0]["bus"] == "can0");
  CHECK(!lines[0]["text"].get<std::string>().empty());
  CHECK(lines[1]["event"] == "statistics");
  CHECK(lines[1]["frame"].is_null());
  CHECK(lines[2]["event"] == "damage");
  CHECK(lines[2]["text"].get<std::string>().find("say \"no\"") != std::string::npos);
}

TEST_CASE("units are converted if asked for") {
  JsonLinesOptions metric;
  metric.units = UnitSystem::metric;
  const auto lines = lines_of(Traffic().frame(0, kSpeedId, kSpeed), metric);
  REQUIRE(lines.size() == 1);
  CHECK(lines[0]["signals"][0]["unit"] == "km/h");
  CHECK(lines[0]["signals"][0]["value"].get<double>() == Approx(2.512 * 3.6).margin(0.005));
  CHECK(lines[0]["signals"][2]["value"] == 1);
}

TEST_CASE("time texts are those of the slow way") {
  TimeText times;
  for (const TimeNs time : {TimeNs{0}, TimeNs{-1}, kBegin, kBegin + 1, kBegin + kSecond - 1, kBegin + kSecond,
                            kBegin - 1, kBegin, TimeNs{INT64_MAX}, TimeNs{INT64_MIN},
                            TimeNs{INT64_MIN} + kSecond, TimeNs{123456789}, TimeNs{-987654321}}) {
    char text[TimeText::kChars];
    times.put(text, time);
    CHECK(std::string(text, TimeText::kChars) == format_rfc3339(time));
  }
}

TEST_CASE("strings of any content are JSON") {
  for (const std::string text : {"plain", "with \"quotes\" and \\", "line\nend\t\x01", "\xC3\xA9t\xC3\xA9",
                                 "\xFF\xFE", "\x7F", "\xE2\x80\xAE"})
    CHECK(json::accept(json_string(text)));
  CHECK(json::parse(json_string("a\"b\\c")) == "a\"b\\c");
  CHECK(json::parse(json_string("\xC3\xA9")) == "\xC3\xA9");
}
