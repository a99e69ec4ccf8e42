#include <catch2/catch.hpp>
#include <random>
#include <set>
#include <string>

#include "exam/roster.hpp"

using namespace tramlog;

namespace {

Roster learnt(const std::vector<LearnedController>& controllers) {
  const std::string text = write_roster("Larkfield drill", controllers);
  auto parsed = parse_roster(text, "learnt.toml");
  INFO(text);
  if (!parsed.ok()) FAIL(parsed.error().where + " " + parsed.error().what);
  return std::move(parsed.value());
}

std::vector<Seen> seen_of(const std::vector<LearnedController>& controllers) {
  std::vector<Seen> seen;
  for (const LearnedController& c : controllers)
    seen.push_back({c.name, c.software, SoftwareSilence::no_answer});
  return seen;
}

/// Texts with everything that TOML, globs or a terminal could take the wrong way.
std::string random_text(std::mt19937& random) {
  static const std::vector<std::string> kPieces{"*",        "?",
                                                "[",        "]",
                                                "!",        "-",
                                                "\\",       "\"",
                                                "'",        "#",
                                                " ",        "\t",
                                                "\n",       "\x01",
                                                "\x7f",     "\xc3\xa9",
                                                "\xff",     "\xe2\x80\xae",
                                                "\\u0041",  "MTR",
                                                "4.2",      "{",
                                                "}",        "=",
                                                "\xc2\x85", "\xf0\x9f\x8c\xbe"};
  std::string text;
  for (auto i = random() % 12; i > 0; --i) text += kPieces[random() % kPieces.size()];
  return text;
}

/// NAMEs from few values, so that equal jobs and equal NAMEs are frequent.
Name random_name(std::mt19937& random, bool few) {
  if (!few) return Name(std::uint64_t{random()} << 32 | random());
  const std::uint64_t functions[] = {29, 128, 130, 134};
  return Name(std::uint64_t{random() % 2} << 63 | 2ull << 60 | std::uint64_t{random() % 2 * 4} << 49 |
              std::uint64_t{random() % 8 == 0} << 48 | functions[random() % 4] << 40 |
              std::uint64_t{random() % 2} << 35 | 1000ull << 21 | random() % 4);
}

}  // namespace

TEST_CASE("A learnt roster leaves the identity number out") {
  const Name metering(0xA00880007D012345);
  const LearnedController controller{metering, 0x81, {"MTR 4.2.1"}};
  CHECK(write_roster("Larkfield drill", {controller}) ==
        "# Learned from a capture. Check the labels and sides, and set required = false for what may be "
        "absent.\n"
        "machine = \"Larkfield drill\"\n"
        "\n"
        "# rate control, planters / seeders; NAME a00880007d012345, identity number 74565, address 129\n"
        "[[controller]]\n"
        "label = \"rate control\"\n"
        "name = { industry_group = 2, device_class = 4, device_class_instance = 0, function = 128, "
        "function_instance = 0, ecu_instance = 0, manufacturer_code = 1000 }\n"
        "software = [\"MTR 4.2.1\"]\n"
        "# supply = \"\"  # fill in: controllers that share a power feed carry the same word\n"
        "# The side is a guess from the function: check it.\n"
        "side = \"implement\"\n");
  const Roster roster = learnt({controller});
  CHECK(roster.warnings.empty());
  CHECK(roster.entries[0].matches(metering));
  CHECK(roster.entries[0].matches(Name(metering.raw() ^ 1)));  // swapped unit
  CHECK_FALSE(roster.entries[0].matches(Name(metering.raw() ^ 1ull << 35)));
}

TEST_CASE("Controllers that differ in identity number only are learnt by exact NAME") {
  const std::vector<LearnedController> twins{{Name(0xA00880007D000002), 0x82, {}},
                                             {Name(0xA00880007D000001), 0x81, {}}};
  const Roster roster = learnt(twins);
  REQUIRE(roster.entries.size() == 2);
  CHECK(roster.entries[0].name.exact == Name(0xA00880007D000001));  // by address
  CHECK(roster.entries[1].name.exact == Name(0xA00880007D000002));
  CHECK(roster.entries[0].label == "rate control 1");
  CHECK(roster.entries[1].label == "rate control 1 (2)");
}

TEST_CASE("Sides are guessed where the class or function tells") {
  const auto side = [](std::uint64_t raw) { return learnt({{Name(raw), 1, {}}}).entries[0].side; };
  CHECK(side(0xA00086007D000001) == Side::tractor);    // tractor ECU
  CHECK(side(0x80001D007D20004D) == Side::tractor);    // virtual terminal
  CHECK(side(0xA00082007D000001) == Side::tractor);    // task controller
  CHECK(side(0xA00C80007D012345) == Side::implement);  // sprayer
  CHECK_FALSE(side(0xA0228000FD000001).has_value());   // sensor system
  CHECK_FALSE(side(0x80008200FD000001).has_value());   // industry group 0
}

TEST_CASE("Nothing learnt is an honest file that is refused") {
  const std::string text = write_roster("", {});
  CHECK_THAT(text, Catch::Matchers::Contains("No controller was seen"));
  CHECK_FALSE(parse_roster(text, "r.toml").ok());
}

TEST_CASE("A learnt software text matches itself only") {
  const std::string text = "MTR*[4] ?\\\"";
  const Roster roster = learnt({{Name(0xA00880007D000001), 1, {text, "", text}}});
  REQUIRE(roster.entries[0].software.size() == 1);
  CHECK(check_software(roster.entries[0].software, {text}).verdict == SoftwareVerdict::ok);
  for (const std::string other : {"MTRx[4] ?\\\"", "MTR*4 ?\\\"", "MTR*[4] x\\\"", "MTR*[4] ?\""})
    CHECK(check_software(roster.entries[0].software, {other}).verdict == SoftwareVerdict::wrong);
}

TEST_CASE("Very long and very many texts stay within the limits of a roster") {
  std::vector<LearnedController> controllers;
  for (std::uint64_t i = 0; i < kMaxRosterEntries + 10; ++i) {
    std::vector<std::string> texts;
    for (std::size_t t = 0; t < 60; ++t) texts.push_back(std::string(40 + t * 40, t % 2 == 0 ? '\\' : '*'));
    controllers.push_back({Name(0xA00880007D000000 + i), static_cast<std::uint8_t>(i), texts});
  }
  const Roster roster = learnt(controllers);
  CHECK(roster.entries.size() == kMaxRosterEntries);
  CHECK(check_software(roster.entries[0].software, controllers[0].software).verdict == SoftwareVerdict::ok);
  const Roster one = learnt({{Name(1), 1, {std::string(5000, 'x') + "\xc3\xa9"}}});
  CHECK(check_software(one.entries[0].software, {std::string(5000, 'x')}).verdict == SoftwareVerdict::ok);
}

TEST_CASE("Property: learn, parse and match finds exactly the learnt controllers") {
  std::mt19937 random(11783);
  for (unsigned round = 0; round < 600; ++round) {
    std::vector<LearnedController> controllers;
    std::set<Name> names;
    for (auto i = 1 + random() % 30; i > 0; --i) {
      LearnedController c{random_name(random, round % 3 != 0), static_cast<std::uint8_t>(random() % 254), {}};
      if (!names.insert(c.name).second) continue;
      for (auto t = random() % 4; t > 0; --t) c.software.push_back(random_text(random));
      controllers.push_back(std::move(c));
    }
    const Roster roster = learnt(controllers);
    REQUIRE(roster.entries.size() == controllers.size());

    auto seen = seen_of(controllers);
    std::shuffle(seen.begin(), seen.end(), random);
    const RosterMatch match = match_roster(roster, seen);
    std::set<std::size_t> taken;
    for (const EntryResult& result : match.entries) {
      REQUIRE(result.match == EntryMatch::matched);
      REQUIRE((result.software == SoftwareVerdict::ok || result.software == SoftwareVerdict::any));
      REQUIRE(taken.insert(*result.seen).second);
      REQUIRE(result.detail.empty());
    }
    REQUIRE(match.extra.empty());

    // Any one taken away is the one that is missing; none of the others changes.
    const Name gone = seen.back().name;
    seen.pop_back();
    const RosterMatch without = match_roster(roster, seen);
    std::size_t missing = 0;
    for (const EntryResult& result : without.entries) {
      if (result.match == EntryMatch::matched) continue;
      ++missing;
      REQUIRE(result.match == EntryMatch::missing);
      REQUIRE(roster.entries[result.entry].matches(gone));
    }
    REQUIRE(missing == 1);
    auto reversed = controllers;
    std::reverse(reversed.begin(), reversed.end());
    REQUIRE(write_roster("M", controllers) == write_roster("M", reversed));
  }
}
