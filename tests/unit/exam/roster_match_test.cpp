#include <catch2/catch.hpp>
#include <string>

#include "exam/roster.hpp"

using namespace tramlog;

namespace {

Roster roster_of(const std::string& entries) {
  auto parsed = parse_roster("machine = \"M\"\n" + entries, "r.toml");
  if (!parsed.ok()) FAIL(parsed.error().where + " " + parsed.error().what);
  return std::move(parsed.value());
}

std::string entry(const std::string& label, const std::string& name, const std::string& more = "") {
  return "[[controller]]\nlabel = \"" + label + "\"\nname = " + name + "\n" + more + "\n";
}

/// Planter class of agriculture, manufacturer 1000.
constexpr Name unit(std::uint64_t function, std::uint64_t instance, std::uint64_t identity) {
  return Name(1ull << 63 | 2ull << 60 | 4ull << 49 | function << 40 | instance << 35 | 1000ull << 21 |
              identity);
}

std::vector<Seen> seen_of(const std::vector<Name>& names) {
  std::vector<Seen> seen;
  for (const Name name : names) seen.push_back({name, {}, SoftwareSilence::never_asked});
  return seen;
}

using Indexes = std::vector<std::size_t>;

}  // namespace

TEST_CASE("An empty bus leaves every entry missing") {
  const auto match = match_roster(roster_of(entry("a", "{ function = 128, device_class = 4 }")), {});
  REQUIRE(match.entries.size() == 1);
  CHECK(match.entries[0].match == EntryMatch::missing);
  CHECK_FALSE(match.entries[0].seen.has_value());
  CHECK(match.entries[0].detail == "no controller fits device class 4, function 128");
  CHECK(match.extra.empty());
}

TEST_CASE("The exact NAME goes before any set of fields") {
  const Roster roster = roster_of(entry("any rate control", "{ device_class = 4, function = 128 }") +
                                  entry("this one", "\"" + unit(128, 0, 7).hex() + "\""));
  const auto match = match_roster(roster, seen_of({unit(128, 0, 7), unit(128, 1, 8)}));
  CHECK(match.entries[1].seen == 0u);
  CHECK(match.entries[0].seen == 1u);  // the only free one left
  CHECK(match.extra.empty());
}

TEST_CASE("Of two entries for one controller the more specific takes it") {
  const Roster roster =
      roster_of(entry("loose", "{ device_class = 4, function = 128 }") +
                entry("tight", "{ device_class = 4, function = 128, function_instance = 0 }"));
  const auto match = match_roster(roster, seen_of({unit(128, 0, 7)}));
  CHECK(match.entries[1].match == EntryMatch::matched);
  CHECK(match.entries[0].match == EntryMatch::missing);
  CHECK(match.entries[0].detail == "NAME " + unit(128, 0, 7).hex() + " fits, but it is \"tight\"");
}

TEST_CASE("Of equally specific entries the required one takes the controller, then the earlier") {
  const std::string optional = entry("optional", "{ device_class = 4, function = 128 }", "required = false");
  const std::string first = entry("first", "{ device_class = 4, function_instance = 0 }");
  const std::string second = entry("second", "{ device_class = 4, industry_group = 2 }");
  const auto match = match_roster(roster_of(optional + first + second), seen_of({unit(128, 0, 7)}));
  CHECK(match.entries[0].match == EntryMatch::missing);
  CHECK(match.entries[1].match == EntryMatch::matched);
  CHECK(match.entries[2].match == EntryMatch::missing);
}

TEST_CASE("Elimination goes on until nothing is left to conclude") {
  // Each entry alone fits more than one, except the last; that starts a chain.
  const Roster roster =
      roster_of(entry("c", "{ manufacturer_code = 1000 }") + entry("b", "{ function = 128 }") +
                entry("a", "{ function = 128, function_instance = 0 }"));
  const auto match = match_roster(roster, seen_of({unit(129, 0, 1), unit(128, 1, 2), unit(128, 0, 3)}));
  CHECK(match.entries[2].seen == 2u);
  CHECK(match.entries[1].seen == 1u);
  CHECK(match.entries[0].seen == 0u);
}

TEST_CASE("Several free candidates are ambiguous and none of them is extra") {
  const Roster roster = roster_of(entry("metering", "{ device_class = 4, function = 128 }"));
  const auto match = match_roster(roster, seen_of({unit(129, 0, 9), unit(128, 0, 1), unit(128, 1, 2)}));
  const EntryResult& result = match.entries[0];
  CHECK(result.match == EntryMatch::ambiguous);
  CHECK(result.candidates == Indexes{1, 2});
  CHECK_FALSE(result.seen.has_value());
  CHECK(result.software == SoftwareVerdict::any);
  CHECK(match.extra == Indexes{0});
  CHECK(result.detail == "2 controllers fit: " + unit(128, 0, 1).hex() + ", " + unit(128, 1, 2).hex() +
                             "; in the roster, tell them apart by function_instance, identity_number");
}

TEST_CASE("Many candidates are listed in part") {
  std::vector<Name> names;
  for (std::uint64_t i = 0; i < 100; ++i) names.push_back(unit(128, 0, i));
  const auto match =
      match_roster(roster_of(entry("a", "{ device_class = 4, function = 128 }")), seen_of(names));
  CHECK(match.entries[0].candidates.size() == kMaxListedCandidates);
  CHECK_THAT(match.entries[0].detail, Catch::Matchers::StartsWith("100 controllers fit: "));
  CHECK_THAT(match.entries[0].detail, Catch::Matchers::Contains(" and 96 more; "));
  CHECK(match.extra.empty());
}

TEST_CASE("A controller on two buses counts once, with what it said on either") {
  const Roster roster =
      roster_of(entry("a", "{ device_class = 4, function = 128 }", "software = [\"MTR 4.*\"]"));
  auto seen = seen_of({unit(128, 0, 1), unit(128, 0, 1)});
  seen[1].software = {"MTR 4.2"};
  auto match = match_roster(roster, seen);
  CHECK(match.entries[0].seen == 0u);
  CHECK(match.entries[0].software == SoftwareVerdict::ok);
  CHECK(match.extra.empty());

  seen[1].software.clear();
  seen[1].silence = SoftwareSilence::refused;
  match = match_roster(roster, seen);
  CHECK(match.entries[0].detail == "software unknown: it refused the request (NACK)");
  CHECK(match_roster(roster_of(entry("z", "{ function = 3 }")), seen).extra == Indexes{0});
}

TEST_CASE("A missing controller whose job another one does points to it") {
  const Roster roster = roster_of(entry("front", "\"" + unit(128, 0, 7).hex() + "\""));
  SECTION("another unit") {
    const Name other(unit(128, 0, 4711).raw() ^ 1ull << 63);
    const auto match = match_roster(roster, seen_of({unit(129, 0, 7), other}));
    CHECK(match.entries[0].match == EntryMatch::missing);
    CHECK(match.entries[0].stand_in == 1u);
    CHECK(match.extra == Indexes{0, 1});
    CHECK(match.entries[0].detail == "NAME " + unit(128, 0, 7).hex() + " is not there, but NAME " +
                                         other.hex() +
                                         " with identity number 4711 does the same job: a replaced unit?");
  }
  SECTION("another job") {
    const auto match = match_roster(roster, seen_of({unit(128, 1, 7)}));
    CHECK_FALSE(match.entries[0].stand_in.has_value());
  }
}

TEST_CASE("A stand-in serves one missing entry, and only if the roster does not know it") {
  const std::string front = entry("front", "\"" + unit(128, 0, 7).hex() + "\"");
  const std::string rear = entry("rear", "{ device_class = 4, function = 128, identity_number = 8 }");
  SECTION("one for two") {
    const auto match = match_roster(roster_of(front + rear), seen_of({unit(128, 0, 9)}));
    CHECK(match.entries[0].stand_in == 0u);
    CHECK_FALSE(match.entries[1].stand_in.has_value());
  }
  SECTION("the other entry's own controller") {
    const auto match = match_roster(roster_of(front + rear), seen_of({unit(128, 0, 8)}));
    CHECK(match.entries[1].seen == 0u);
    CHECK_FALSE(match.entries[0].stand_in.has_value());
    CHECK(match.entries[0].detail == "no controller fits NAME " + unit(128, 0, 7).hex());
  }
}

TEST_CASE("Software is judged by every pattern") {
  const std::vector<std::string> texts{" MTR 4.2.1 ", "BOOT [7]"};
  CHECK(check_software({}, texts).verdict == SoftwareVerdict::any);
  CHECK(check_software({}, {}).verdict == SoftwareVerdict::any);
  CHECK(check_software({"MTR 4.*"}, texts).verdict == SoftwareVerdict::ok);
  CHECK(check_software({"MTR 4.2.1", "BOOT [7]"}, texts).verdict == SoftwareVerdict::ok);  // exact goes first
  CHECK(check_software({"BOOT [[]?]"}, texts).verdict == SoftwareVerdict::ok);
  CHECK(check_software({"MTR 4.*"}, {}).verdict == SoftwareVerdict::unknown);
  CHECK(check_software({"MTR 4.*"}, {"", "  "}).verdict == SoftwareVerdict::unknown);
  const SoftwareCheck wrong = check_software({"MTR 5.*", "BOOT*", "mtr*"}, texts);
  CHECK(wrong.verdict == SoftwareVerdict::wrong);
  CHECK(wrong.unmet == std::vector<std::string>{"MTR 5.*", "mtr*"});
}

TEST_CASE("The detail says which software is wrong, or why it is unknown") {
  const Roster roster =
      roster_of(entry("a", "{ device_class = 4, function = 128 }", "software = [\"MTR 5.*\", \"LIB 1\"]"));
  auto seen = seen_of({unit(128, 0, 1)});
  seen[0].software = {"MTR 4.2", "LIB 1"};
  auto match = match_roster(roster, seen);
  CHECK(match.entries[0].match == EntryMatch::matched);
  CHECK(match.entries[0].software == SoftwareVerdict::wrong);
  CHECK(match.entries[0].unmet == std::vector<std::string>{"MTR 5.*"});
  CHECK(match.entries[0].detail == "reports software \"MTR 4.2\", \"LIB 1\", expected \"MTR 5.*\"");

  seen[0].software.clear();
  for (const auto& [silence, text] : std::vector<std::pair<SoftwareSilence, std::string>>{
           {SoftwareSilence::never_asked, "it was never asked"},
           {SoftwareSilence::refused, "it refused the request (NACK)"},
           {SoftwareSilence::no_answer, "it did not answer within 1.25 s"},
           {SoftwareSilence::broken_off, "its answer was broken off"},
           {SoftwareSilence::busy, "it was busy and could not answer"},
           {SoftwareSilence::reported_nothing, "it answered without any text"}}) {
    seen[0].silence = silence;
    match = match_roster(roster, seen);
    CHECK(match.entries[0].software == SoftwareVerdict::unknown);
    CHECK(match.entries[0].detail == "software unknown: " + text);
  }
}
