#include "unit/implement/machine_bench.hpp"

using namespace tramlog;

namespace {

constexpr Pgn kLanguage = 0xFE0F;
constexpr Address kTerminal = 0x26;

/// Language, decimal symbol (2 bits), B5 distance area volume mass, B6 temperature pressure force system.
Payload command(const char* language, unsigned symbol = 0, unsigned b5 = 0, unsigned b6 = 0) {
  return {static_cast<std::uint8_t>(language[0]),
          static_cast<std::uint8_t>(language[1]),
          static_cast<std::uint8_t>(symbol << 6 | 0x0F),
          0,
          static_cast<std::uint8_t>(b5),
          static_cast<std::uint8_t>(b6),
          0xFF,
          0xFF};
}
const Payload kStatus = {0xFE, 0xFF, 0xFF, 0xFF, 1, 0, 0, 0xFF};

CheckLine line_after(const std::vector<std::tuple<double, Address, Payload>>& commands) {
  MachineBench bench(machine::units);
  bench.send(0.5, kPgnProcessData, MachineBench::kTaskController, kStatus);
  for (const auto& [t, who, bytes] : commands) bench.send(t, kLanguage, who, bytes);
  const auto lines = bench.conclude(600);
  REQUIRE(lines.size() == 1);
  REQUIRE(lines[0].code == "units.disagree");
  return lines[0];
}

}  // namespace

TEST_CASE("controllers that agree", "[units]") {
  const CheckLine line =
      line_after({{1, kTerminal, command("de")}, {2, MachineBench::kTaskController, command("DE")}});
  CHECK(line.verdict == Verdict::pass);
  CHECK(line.text ==
        "The controller at address 38 (0x26), the task controller at address 247 (0xF7) agree: language "
        "\"de\", decimal symbol "
        "comma, mass metric, area metric.");
}

TEST_CASE("one voice, or none, is no agreement", "[units]") {
  CHECK(line_after({}).verdict == Verdict::not_shown);
  const CheckLine line = line_after({{1, kTerminal, command("de")}, {100, kTerminal, command("de")}});
  CHECK(line.verdict == Verdict::not_shown);
  CHECK(holds(line.text, "only the controller at address 38"));
  CHECK(line_after({{1, kTerminal, {'d', 'e', 0}}}).verdict == Verdict::not_shown);
}

TEST_CASE("each field on its own", "[units]") {
  // B5: distance 8-7, area 6-5, volume 4-3, mass 2-1; B6: temperature, pressure, force, unit system.
  const std::pair<const char*, Payload> cases[] = {
      {"language: \"de\" (the controller at address 38 (0x26)), \"en\" (the task controller at address 247 "
       "(0xF7))",
       command("en")},
      {"decimal symbol: comma", command("de", 1)},
      {"distance: imperial", command("de", 0, 0x40)},
      {"area: imperial", command("de", 0, 0x10)},
      {"volume: US", command("de", 0, 0x08)},
      {"mass: US", command("de", 0, 0x02)},
      {"temperature: imperial", command("de", 0, 0, 0x40)},
      {"pressure: imperial", command("de", 0, 0, 0x10)},
      {"force: imperial", command("de", 0, 0, 0x04)},
      {"unit system: US", command("de", 0, 0, 0x02)},
  };
  for (const auto& [words, bytes] : cases) {
    INFO(words);
    const CheckLine line =
        line_after({{1, kTerminal, command("de")}, {2, MachineBench::kTaskController, bytes}});
    CHECK(line.verdict == Verdict::attention);
    INFO(line.text);
    CHECK(holds(line.text, words));
    CHECK(line.start == MachineBench::time(2));
    CHECK(line.moments.size() == 2);
  }
}

TEST_CASE("no action agrees with everything, but hides nobody", "[units]") {
  const Payload silent = {0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF};
  CHECK(line_after({{1, 0x10, silent}, {2, kTerminal, command("de")}}).verdict == Verdict::pass);
  const CheckLine line = line_after({{1, 0x10, silent},
                                     {2, kTerminal, command("de")},
                                     {3, MachineBench::kTaskController, command("de", 0, 2)}});
  CHECK(line.verdict == Verdict::attention);
  CHECK(holds(line.text, "mass: US"));
}

TEST_CASE("what was said before the operator changed it is not held against anybody", "[units]") {
  // The terminal changes at 300 s; the task controller had spoken at 2 s only.
  const std::vector<std::tuple<double, Address, Payload>> early = {
      {1, kTerminal, command("de")},
      {2, MachineBench::kTaskController, command("de")},
      {300, kTerminal, command("en", 1)}};
  CHECK(line_after(early).verdict == Verdict::not_shown);
  auto follows = early;
  follows.push_back({302, MachineBench::kTaskController, command("en", 1)});
  CHECK(line_after(follows).verdict == Verdict::pass);
  auto stays = early;
  stays.push_back({400, MachineBench::kTaskController, command("de")});
  CHECK(line_after(stays).verdict == Verdict::attention);
}

TEST_CASE("a bus full of strangers is told to be cut", "[units]") {
  MachineBench bench(machine::units);
  for (unsigned i = 0; i < 60; ++i)
    bench.send(1 + i * 0.01, kLanguage, static_cast<Address>(i), command("de"));
  const auto lines = bench.conclude(10);
  CHECK(lines[0].verdict == Verdict::pass);
  CHECK(figure_of(lines[0], "controllers") == 32);
  CHECK(holds(lines[0].text, "28 language commands more are not looked at"));
}
