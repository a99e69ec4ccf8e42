// A transfer that does not become a message is told all the same.
#include <algorithm>
#include <nlohmann/json.hpp>

#include "decode/json_lines.hpp"
#include "decode/text_story.hpp"
#include "unit/decode/decode_bench.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

constexpr std::uint32_t kSpeedId = make_id(3, 0xFE48, 0xF0);

// 14 bytes in two packets, of which only the first comes; 1 s later the time is up (750 ms).
Traffic broken_bam(bool with_rest) {
  Traffic traffic;
  traffic.frame(1, make_id(7, 0xEC00, 0x80), {32, 14, 0, 2, 0xFF, 0x14, 0xFF, 0x00});
  traffic.frame(1.05, make_id(7, 0xEB00, 0x80), {1, 0, 1, 2, 3, 4, 5, 6});
  if (with_rest) traffic.frame(2.05, kSpeedId, Payload(8, 0xFF));
  return traffic;
}

std::string run(const Traffic& traffic, bool json, const DecodeFilter& filter = {}) {
  std::string text;
  {
    OutputBuffer out([&](std::string_view bytes) { text += bytes; });
    const auto sink = json ? make_json_lines(out, {}) : make_text_story(out, {});
    auto interpreter = Interpreter::make(Schema::built_in(), filter, std::nullopt, *sink);
    REQUIRE(interpreter.ok());
    (*interpreter)->take(traffic.events());
    (*interpreter)->finish();
  }
  return text;
}

}  // namespace

TEST_CASE("a timed-out broadcast is told when its time is up") {
  const std::string lines = run(broken_bam(true), true);
  const auto first = nlohmann::json::parse(lines.substr(0, lines.find('\n')));
  CHECK(first["time"] == "2026-04-07T06:12:02.050000000Z");
  CHECK(first["event"] == "broken-transfer");
  CHECK(first["frames"] == nlohmann::json::array({1, 2}));
  CHECK(first["transfer"] == "bam");
  CHECK(first["outcome"] == "timed-out");
  CHECK(first["pgn"] == 0xFF14);
  CHECK(first["source"] == 0x80);
  CHECK(first["destination"] == 255);
  CHECK(first["text"] == "the transfer timed out after 7 of 14 bytes");
  std::string story = run(broken_bam(true), false);
  story.erase(std::remove(story.begin(), story.end(), '\n'), story.end());
  CHECK_THAT(story,
             Catch::Contains("PGN 65300 (0xFF14), not in the schema; a transfer (bam) of it") &&
                 Catch::Contains("timed out after 7 of 14 bytes, frames 1 to 2, the last at 06:12:01.050"));
}

TEST_CASE("one that runs when the capture ends is told as such") {
  CHECK_THAT(run(broken_bam(false), true), Catch::Contains("\"outcome\":\"unfinished\""));
}

TEST_CASE("whoever asks for other messages does not hear of it") {
  DecodeFilter filter;
  filter.messages = {"65096"};
  CHECK_THAT(run(broken_bam(true), true, filter), !Catch::Contains("broken-transfer"));
  filter.messages = {"65300"};
  CHECK_THAT(run(broken_bam(true), true, filter), Catch::Contains("broken-transfer"));
}

TEST_CASE("a whole transfer is no broken one") {
  Traffic traffic;
  traffic.bam(1, 0xFF14, 0x80, Payload(14, 7)).frame(5, kSpeedId, Payload(8, 0xFF));
  const std::string lines = run(traffic, true);
  CHECK_THAT(lines, !Catch::Contains("broken-transfer") && Catch::Contains("\"transfer\":\"bam\""));
}

TEST_CASE("a packet of no transfer that was heard is told on its own") {
  Traffic traffic;
  traffic.frame(1, make_id(7, 0xEB00, 0x80), {2, 0, 1, 2, 3, 4, 5, 6}).bam(2, 0xFF14, 0x81, Payload(14, 7));
  const std::string lines = run(traffic, true);
  const auto first = nlohmann::json::parse(lines.substr(0, lines.find('\n')));
  CHECK(first["frame"] == 1);
  CHECK(first["pgn"] == 0xEB00);
  CHECK(first["flags"] == nlohmann::json::array({"stray"}));
  CHECK(std::count(lines.begin(), lines.end(), '\n') == 2);  // and the whole one, once
  CHECK_THAT(run(traffic, false), Catch::Contains("was not heard from its beginning, or is not in order"));
  DecodeFilter filter;
  filter.messages = {"65300"};
  CHECK_THAT(run(traffic, true, filter), !Catch::Contains("stray"));
}

TEST_CASE("a message of which only the name is known shows its bytes; a clock that is set back is told") {
  Traffic traffic;
  traffic.frame(10, make_id(6, 0xFEDF, 0), {1, 2, 3, 4, 5, 6, 7, 8}).frame(5, kSpeedId, Payload(8, 0xFF));
  CHECK_THAT(run(traffic, true), Catch::Contains("\"message\":\"EEC3\"") &&
                                     Catch::Contains("\"signals\":[],\"data\":\"0102030405060708\""));
  const std::string story = run(traffic, false);
  CHECK_THAT(story, Catch::Contains("bytes 01 02 03 04 05 06 07 08"));
  CHECK_THAT(story, Catch::Contains("The recorder's clock was set back by 5.00 s."));
}
