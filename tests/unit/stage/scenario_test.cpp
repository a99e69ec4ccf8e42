#include "stage/scenario.hpp"

#include <catch2/catch.hpp>

#include "unit/stage/scratch.hpp"

using namespace tramlog;
using namespace tramlog::stage;

namespace {

const std::string kHead = "title = \"t\"\nstart = 2026-04-07T06:12:00Z\nduration = 2.5\n";  // lines 1 to 3

Error error_of(const std::string& text) {
  Scratch scratch;
  const auto scenario = read_scenario(scratch.write("s.toml", text));
  REQUIRE_FALSE(scenario.ok());
  CHECK(scenario.error().kind == ErrorKind::usage);
  return scenario.error();
}

bool ends_with(const std::string& text, const std::string& tail) {
  return text.size() >= tail.size() && text.compare(text.size() - tail.size(), tail.size(), tail) == 0;
}

}  // namespace

TEST_CASE("a scenario is read with its times in nanoseconds") {
  Scratch scratch;
  const auto scenario = read_scenario(scratch.write("s.toml", kHead + R"(
[[controller]]
label = "a"
name = "a0088000b5e0d6d9"
address = 0x80
boot = 0.25
  [[controller.message]]
  pgn = 0xFF10
  period = 0.1
  payload = "01 02"
)"));
  REQUIRE(scenario.ok());
  CHECK(scenario.value().start == 1775542320 * kSecond);
  CHECK(scenario.value().duration == 2500 * kMillisecond);
  REQUIRE(scenario.value().controllers.size() == 1);
  CHECK(scenario.value().controllers[0].name == 0xA0088000B5E0D6D9);
  CHECK(scenario.value().controllers[0].boot == 250 * kMillisecond);
  CHECK(scenario.value().controllers[0].messages[0].payload.base == std::vector<std::uint8_t>{1, 2});
  REQUIRE(scenario.value().buses.size() == 1);
  CHECK(scenario.value().buses[0].name == "can0");
}

TEST_CASE("mistakes are told with key and line") {
  CHECK(ends_with(error_of(kHead + "colour = 3\n").where, "s.toml:4"));
  CHECK(error_of(kHead + "colour = 3\n").what == "unknown key 'colour'");
  CHECK(ends_with(error_of(kHead + "seed = \"x\"\n").where, "s.toml:4"));
  CHECK(
      ends_with(error_of("title = \"t\"\nstart = 2026-04-07T06:12:00Z\nduration = -1\n").where, "s.toml:3"));
  CHECK(ends_with(error_of(kHead + "seed = = 4\n").where, "s.toml:4"));
  CHECK(ends_with(error_of(kHead + "[[event]]\nat = 1\nwhat = \"explode\"\n").where, "s.toml:6"));
  CHECK(ends_with(error_of(kHead + "[[event]]\nat = 1\nwhat = \"mute\"\ncontroller = \"nobody\"\n").where,
                  "s.toml:7"));
  CHECK(ends_with(error_of(kHead + "[[controller]]\nlabel = \"a\"\nname = \"12\"\naddress = 1\n").where,
                  "s.toml:6"));
  CHECK(error_of("start = 2026-04-07T06:12:00Z\nduration = 1\n").what == "key 'title': is missing");
}

TEST_CASE("a scenario that does not exist") {
  const auto scenario = read_scenario("/nonexistent/s.toml");
  REQUIRE_FALSE(scenario.ok());
  CHECK(scenario.error().where == "/nonexistent/s.toml");
}

TEST_CASE("included controllers can be altered, and inclusion has an end") {
  Scratch scratch;
  scratch.write("base.toml", "[[controller]]\nlabel = \"a\"\nname = \"a0088000b5e0d6d9\"\naddress = 1\n");
  const auto scenario = read_scenario(scratch.write(
      "s.toml",
      kHead + "include = \"base.toml\"\n[[alter]]\ncontroller = \"a\"\nabsent = true\nsoftware = [\"1\"]\n"));
  REQUIRE(scenario.ok());
  CHECK(scenario.value().controllers[0].absent);
  CHECK(scenario.value().controllers[0].software == std::vector<std::string>{"1"});
  const auto endless = read_scenario(scratch.write("loop.toml", kHead + "include = \"loop.toml\"\n"));
  CHECK_FALSE(endless.ok());
}

TEST_CASE("transfers that cannot be") {
  const std::string controller =
      kHead + "[[controller]]\nlabel = \"a\"\nname = \"a0088000b5e0d6d9\"\naddress = 1\n";
  CHECK(error_of(controller + "[[controller.transfer]]\npgn = 0xEF00\nat = 1\nsize = 4\n").what ==
        "key 'size': 4 bytes do not fit this carrier");
  CHECK(error_of(controller +
                 "[[controller.transfer]]\npgn = 0xEF00\nat = 1\nsize = 40\nfailure = \"receiver-silent\"\n")
            .what == "key 'failure': needs a receiver");
}
