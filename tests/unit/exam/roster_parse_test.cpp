#include <catch2/catch.hpp>
#include <string>

#include "exam/roster.hpp"

using namespace tramlog;

namespace {

const char* const kDrill = R"(machine = "Larkfield 9 m air drill"

[[controller]]
label = "metering front"
name = { device_class = 4, function = 128, function_instance = 0 }
software = ["MTR 4.*"]
required = true
supply = "cart"
side = "implement"

[[controller]]
label = "terminal"
name = "A00c80007d012345"
required = false
)";

std::string entry(const std::string& lines) {
  return "machine = \"M\"\n[[controller]]\n" + lines;  // `lines` begins in line 3
}

Error error_of(const std::string& text) {
  const auto parsed = parse_roster(text, "r.toml");
  REQUIRE_FALSE(parsed.ok());
  CHECK(parsed.error().kind == ErrorKind::input);
  CHECK_FALSE(parsed.error().remedy.empty());
  return parsed.error();
}

void check_error(const std::string& text, const std::string& where, const std::string& what) {
  const Error error = error_of(text);
  CAPTURE(text);
  CHECK(error.where == where);
  CHECK_THAT(error.what, Catch::Matchers::Contains(what));
}

}  // namespace

TEST_CASE("A roster with every key is read") {
  const auto parsed = parse_roster(kDrill, "drill.toml");
  REQUIRE(parsed.ok());
  const Roster& roster = parsed.value();
  CHECK(roster.file == "drill.toml");
  CHECK(roster.machine == "Larkfield 9 m air drill");
  CHECK(roster.warnings.empty());
  REQUIRE(roster.entries.size() == 2);

  const RosterEntry& front = roster.entries[0];
  CHECK(front.label == "metering front");
  CHECK(front.line == 3);
  CHECK(front.name.device_class == 4u);
  CHECK(front.name.function == 128u);
  CHECK(front.name.function_instance == 0u);
  CHECK_FALSE(front.name.identity_number.has_value());
  CHECK_FALSE(front.name.exact.has_value());
  CHECK(front.software == std::vector<std::string>{"MTR 4.*"});
  CHECK(front.required);
  CHECK(front.supply == std::string("cart"));
  CHECK(front.side == Side::implement);

  const RosterEntry& terminal = roster.entries[1];
  CHECK(terminal.name.exact == Name(0xA00C80007D012345));
  CHECK_FALSE(terminal.required);
  CHECK(terminal.software.empty());
  CHECK_FALSE(terminal.side.has_value());
}

TEST_CASE("Every NAME field is read and compared") {
  const auto parsed = parse_roster(entry(R"(label = "a"
name = { identity_number = 2097151, manufacturer_code = 2047, ecu_instance = 1, function_instance = 2, function = 133,
  device_class = 4, device_class_instance = 0, industry_group = 2, self_configurable_address = false }
)"),
                                   "r.toml");
  // A table in braces must stand on one line in TOML 1.0.
  REQUIRE_FALSE(parsed.ok());
  const auto one_line = parse_roster(
      entry("label = \"a\"\nname = { identity_number = 2097151, manufacturer_code = 2047, ecu_instance = 1, "
            "function_instance = 2, function = 133, device_class = 4, device_class_instance = 0, "
            "industry_group = 2, "
            "self_configurable_address = false }\n"),
      "r.toml");
  REQUIRE(one_line.ok());
  const RosterEntry& e = one_line.value().entries[0];
  const std::uint64_t raw = 0x20088511FFFFFFFF;
  CHECK(e.matches(Name(raw)));
  CHECK(e.name.specificity() == 9);
  for (const unsigned lowest_bit : {0u, 21u, 32u, 35u, 40u, 49u, 56u, 60u, 63u}) {
    CAPTURE(lowest_bit);
    CHECK_FALSE(e.matches(Name(raw ^ 1ull << lowest_bit)));
  }
  CHECK(e.matches(Name(raw ^ 1ull << 48)));  // reserved: no field
  CHECK(e.name.matches_job(Name(raw ^ 1ull << 63 ^ 5)));
  CHECK_FALSE(e.name.matches_job(Name(raw ^ 1ull << 40)));
  CHECK(e.name.describe() ==
        "industry group 2, device class 4, device class instance 0, function 133, function instance 2, ECU "
        "instance 1, "
        "manufacturer code 2047, identity number 2097151, self-configurable address no");
}

TEST_CASE("Errors name file, line and column") {
  check_error("machine = \n", "r.toml:1:11", "not TOML");
  check_error("", "r.toml:1:1", "no [[controller]]");
  check_error("machine = \"M\"\n", "r.toml:1:1", "no [[controller]]");
  check_error("controller = []\n", "r.toml:1:14", "no [[controller]]");
  check_error("[controller]\nlabel = \"a\"\n", "r.toml:1:1", "array of tables");
  check_error("controller = [1]\n", "r.toml:1:15", "must be a table");
  check_error("machine = 5\n", "r.toml:1:11", "`machine` must be a text, but it is a whole number");
  check_error(entry("name = { function = 1 }\n"), "r.toml:2:1", "no `label`");
  check_error(entry("label = \"a\"\n"), "r.toml:2:1", "\"a\" has no `name`");
  check_error(entry("label = \" \"\nname = { function = 1 }\n"), "r.toml:3:9", "`label` is empty");
  check_error(entry("label = \"a\\u0007b\"\nname = { function = 1 }\n"), "r.toml:3:9", "control character");
  check_error(entry("label = \"a\"\nname = 5\n"), "r.toml:4:8", "but it is a whole number");
  check_error(entry("label = \"a\"\nname = {}\n"), "r.toml:4:8", "no field");
  check_error(entry("label = \"a\"\nname = { function = 1 }\nrequired = \"yes\"\n"), "r.toml:5:12",
              "true or false");
  check_error(entry("label = \"a\"\nname = { function = 1 }\nsoftware = \"x\"\n"), "r.toml:5:12",
              "array of texts");
  check_error(entry("label = \"a\"\nname = { function = 1 }\nsoftware = [\"x\", \"\"]\n"), "r.toml:5:18",
              "is empty");
  check_error(entry("label = \"a\"\nname = { function = 1 }\nsoftware = [1]\n"), "r.toml:5:13",
              "must be a text");
  check_error(entry("label = \"a\"\nname = { function = 1 }\nside = \"left\"\n"), "r.toml:5:8", "\"left\"");
  check_error(entry("label = \"a\"\nname = { function = 1 }\nsupply = true\n"), "r.toml:5:10",
              "must be a text");
}

TEST_CASE("An exact NAME is 16 hex digits") {
  for (const std::string bad :
       {"", "a0088000b5e0d6d", "a0088000b5e0d6d99", "a0088000b5e0d6dg", "0xa0088000b5e0d6"}) {
    CAPTURE(bad);
    check_error(entry("label = \"a\"\nname = \"" + bad + "\"\n"), "r.toml:4:8", "16 hex digits");
  }
}

TEST_CASE("NAME fields have the width of the standard") {
  struct Limit {
    const char* key;
    unsigned max;
  };
  for (const Limit limit :
       {Limit{"identity_number", 2097151}, Limit{"manufacturer_code", 2047}, Limit{"ecu_instance", 7},
        Limit{"function_instance", 31}, Limit{"function", 255}, Limit{"device_class", 127},
        Limit{"device_class_instance", 15}, Limit{"industry_group", 7}}) {
    CAPTURE(limit.key);
    const auto with = [&](const std::string& value) {
      return entry("label = \"a\"\nname = { " + std::string(limit.key) + " = " + value + " }\n");
    };
    CHECK(parse_roster(with(std::to_string(limit.max)), "r.toml").ok());
    CHECK(parse_roster(with("0"), "r.toml").ok());
    const std::string what = "from 0 to " + std::to_string(limit.max);
    CHECK_THAT(error_of(with(std::to_string(limit.max + 1))).what, Catch::Matchers::Contains(what));
    CHECK_THAT(error_of(with("-1")).what, Catch::Matchers::Contains(what));
    CHECK_THAT(error_of(with("9223372036854775807")).what, Catch::Matchers::Contains(what));
    CHECK_THAT(error_of(with("1.0")).what, Catch::Matchers::Contains("fraction"));
    CHECK_THAT(error_of(with("\"1\"")).what, Catch::Matchers::Contains("a text"));
    CHECK_THAT(error_of(with("2026-04-07")).what, Catch::Matchers::Contains("date"));
  }
  CHECK_THAT(error_of(entry("label = \"a\"\nname = { self_configurable_address = 1 }\n")).what,
             Catch::Matchers::Contains("true or false"));
}

TEST_CASE("An unknown key brings the nearest known one") {
  const auto remedy = [](const std::string& text) { return error_of(text).remedy; };
  CHECK(remedy("machin = \"M\"\n") == "did you mean `machine`?");
  CHECK(remedy("[[controler]]\n") == "did you mean `controller`?");
  CHECK(remedy(entry("lable = \"a\"\n")) == "did you mean `label`?");
  CHECK(remedy(entry("Software = []\n")) == "did you mean `software`?");
  CHECK(remedy(entry("label = \"a\"\nname = { manufacturer = 5 }\n")) == "did you mean `manufacturer_code`?");
  CHECK(remedy(entry("label = \"a\"\nname = { funtion_instance = 5 }\n")) ==
        "did you mean `function_instance`?");
  CHECK_THAT(remedy(entry("label = \"a\"\nname = { preferred_address = 5 }\n")),
             Catch::Matchers::Contains("an address is given out anew"));
  CHECK_THAT(remedy(entry("colour = \"a\"\n")), Catch::Matchers::StartsWith("use one of: label, name"));
  CHECK_THAT(remedy(std::string(100000, 'a') + " = 1\n"), Catch::Matchers::StartsWith("use one of: "));
  const Error error = error_of(entry("label = \"a\"\nrequird = true\n"));
  CHECK(error.where == "r.toml:4:1");
  CHECK(error.what == "unknown key \"requird\" in [[controller]]");
}

TEST_CASE("Labels and criteria are unique") {
  const std::string first = entry("label = \"a\"\nname = { function = 1 }\n");
  const Error label = error_of(first + "[[controller]]\nlabel = \"a\"\nname = { function = 2 }\n");
  CHECK(label.where == "r.toml:6:9");
  CHECK_THAT(label.what, Catch::Matchers::Contains("line 2"));
  const Error name = error_of(first + "[[controller]]\nlabel = \"b\"\nname = { function = 1 }\n");
  CHECK(name.where == "r.toml:7:8");
  CHECK_THAT(name.what, Catch::Matchers::Contains("\"a\" in line 2"));
}

TEST_CASE("Suspicious entries are warned about") {
  const auto warnings = [](const std::string& text) {
    const auto parsed = parse_roster(text, "r.toml");
    REQUIRE(parsed.ok());
    return parsed.value().warnings;
  };
  CHECK(warnings(entry("label = \"a\"\nname = { function = 1 }\n")).empty());
  const auto check_one = [&](const std::string& lines, const std::string& begins) {
    const auto found = warnings(entry(lines));
    REQUIRE(found.size() == 1);
    CHECK_THAT(found[0], Catch::Matchers::StartsWith(begins));
  };
  check_one("label = \"a\"\nname = { device_class = 4 }\n", "r.toml:4: without `function`");
  check_one("label = \"a\"\nname = { function = 130 }\n", "r.toml:4: the meaning of a function from 128");
  check_one("label = \"a\"\nname = { function = 1 }\nsoftware = [\"x \"]\n", "r.toml:5: the pattern \"x \"");
  check_one("label = \"a\"\nname = { function = 1 }\nsoftware = [\"x\", \"x\"]\n",
            "r.toml:5: the pattern \"x\" is there twice");
  check_one(
      "label = \"a\"\nname = { function = 1 }\nsupply = \"Cart\"\n[[controller]]\nlabel = \"b\"\n"
      "name = { function = 2 }\nsupply = \"cart\"\n",
      "r.toml:9: supply \"Cart\" and \"cart\"");
  const auto no_machine = warnings("[[controller]]\nlabel = \"a\"\nname = { function = 1 }\n");
  REQUIRE(no_machine.size() == 1);
  CHECK_THAT(no_machine[0], Catch::Matchers::StartsWith("r.toml:1: no `machine`"));
}

TEST_CASE("Sizes are capped") {
  CHECK_THAT(error_of(std::string(kMaxRosterBytes + 1, '#')).what, Catch::Matchers::Contains("bytes"));
  CHECK_THAT(error_of(entry("label = \"" + std::string(kMaxRosterTextBytes + 1, 'x') + "\"\n")).what,
             Catch::Matchers::Contains("at most 200"));
  std::string many;
  for (std::size_t i = 0; i <= kMaxRosterEntries; ++i)
    many += "[[controller]]\nlabel = \"" + std::to_string(i) +
            "\"\nname = { identity_number = " + std::to_string(i) + " }\n";
  CHECK_THAT(error_of(many).what, Catch::Matchers::Contains("at most 1024"));
  std::string patterns = "software = [";
  for (std::size_t i = 0; i <= kMaxSoftwarePatterns; ++i) patterns += "\"x" + std::to_string(i) + "\", ";
  CHECK_THAT(error_of(entry("label = \"a\"\nname = { function = 1 }\n" + patterns + "]\n")).what,
             Catch::Matchers::Contains("33 patterns"));
  // Nesting deeper than the TOML parser allows is an error, not a full stack.
  CHECK_THAT(error_of("a = " + std::string(100000, '[')).what, Catch::Matchers::Contains("not TOML"));
  CHECK_THAT(error_of("a = \"\xff\xfe\"\n").what, Catch::Matchers::Contains("not TOML"));
}

TEST_CASE("Letters beyond ASCII outside of texts are an error") {
  for (const std::string letter :
       {"\xc3\xa9", "\xc9\xab", "\xe2\x80\x8b", "\xef\xbb\xbf", "\xf0\x9f\x8c\xbe"})
    for (const std::string text : {"a = 1" + letter, "a" + letter + " = 1", letter + "a = 1", "a = " + letter,
                                   "a = 2026-04-0" + letter + "7", "a = [1" + letter + "]"}) {
      CAPTURE(text);
      CHECK_FALSE(parse_roster(text + "\n", "r.toml").ok());
    }
  const auto inside =
      parse_roster(entry("label = \"s\xc3\xa4geger\xc3\xa4t\" # \xc3\xa9\nname = { function = 1 }\n"), "r");
  REQUIRE(inside.ok());
  CHECK(inside.value().entries[0].label == "s\xc3\xa4geger\xc3\xa4t");
}

TEST_CASE("What no key can begin with is an error") {
  for (const std::string text :
       {"[[~controller]]", "[~a]", "[[", "[", "[[a", "[[a]", "~ = 1", "a.~ = 1", "= 1", "a = {~=1}", "a = {b",
        "a = {", "a = [", "a = \"", "a = \"\"\"", "a = +", "a = 0x", "a = 1e", "a = t"}) {
    CAPTURE(text);
    CHECK_FALSE(parse_roster(text, "r.toml").ok());
    CHECK_FALSE(parse_roster(text + "\n", "r.toml").ok());
  }
}
