#include "implement/limits.hpp"

#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <sstream>

using namespace tramlog;

namespace {

std::string text_of(const std::filesystem::path& path) {
  std::ifstream file(path);
  REQUIRE(file);
  std::ostringstream all;
  all << file.rdbuf();
  return all.str();
}

Error error_of(const std::string& text) {
  const auto parsed = SeedingLimits::parse(text, "mine.toml");
  REQUIRE_FALSE(parsed.ok());
  return parsed.error();
}

}  // namespace

TEST_CASE("the limits of the program are those of its files") {
  const std::filesystem::path folder = std::filesystem::path(TRAMLOG_SOURCE_DIR) / "dbc";
  const std::string text = text_of(folder / "seeding-limits.toml") + text_of(folder / "bus-limits.toml");
  REQUIRE(SeedingLimits::built_in_text() == text);
  // Every line "key = number" of the file, read without the TOML library.
  std::istringstream lines(text);
  std::string line, table;
  std::size_t count = 0;
  while (std::getline(lines, line)) {
    if (!line.empty() && line[0] == '[') table = line.substr(1, line.find(']') - 1);
    const std::size_t equals = line.find(" = ");
    if (line.empty() || line[0] == '#' || equals == std::string::npos) continue;
    ++count;
    const std::string key = table + "." + line.substr(0, equals);
    INFO(key);
    REQUIRE(SeedingLimits::built_in().all().count(key) == 1);
    REQUIRE(SeedingLimits::built_in()[key] == std::stod(line.substr(equals + 3)));
  }
  REQUIRE(count == SeedingLimits::built_in().all().size());
  REQUIRE(count > 40);
}

TEST_CASE("every limit that the source asks for exists") {
  std::size_t uses = 0;
  for (const auto& file :
       std::filesystem::recursive_directory_iterator(std::filesystem::path(TRAMLOG_SOURCE_DIR) / "src")) {
    if (file.path().extension() != ".cpp" && file.path().extension() != ".hpp") continue;
    const std::string text = text_of(file.path());
    for (const std::string use : {"limits[\"", "limits_[\"", "limits()[\"", "limits)[\"", "span_of(seen, \""})
      for (std::size_t at = text.find(use); at != std::string::npos; at = text.find(use, at + 1)) {
        const std::size_t begin = at + use.size();
        const std::string key = text.substr(begin, text.find('"', begin) - begin);
        INFO(file.path() << ": " << key);
        REQUIRE(SeedingLimits::built_in().all().count(key) == 1);
        ++uses;
      }
  }
  REQUIRE(uses > 20);
}

TEST_CASE("a file of limits replaces what it names") {
  const auto parsed = SeedingLimits::parse(
      "[meter]\ndead_time_s = 4\n[total]\ndiffers_pct = 1.5 # calibrated\n", "mine.toml");
  REQUIRE(parsed.ok());
  CHECK(parsed.value()["meter.dead_time_s"] == 4.0);
  CHECK(parsed.value()["total.differs_pct"] == 1.5);
  CHECK(parsed.value()["meter.rise_time_s"] == SeedingLimits::built_in()["meter.rise_time_s"]);
  CHECK(parsed.value().all().size() == SeedingLimits::built_in().all().size());
  CHECK(parsed.value()["meter.no_such_thing"] == 0.0);
  REQUIRE(SeedingLimits::parse("", "mine.toml").ok());
  REQUIRE(SeedingLimits::parse("[meter]\nrise_time_s = 0", "mine.toml").ok());
}

TEST_CASE("a mistake in a file of limits is told with its place") {
  const auto check = [](const std::string& text, const std::string& what, const std::string& where) {
    const Error error = error_of(text);
    INFO(text);
    CHECK(error.kind == ErrorKind::usage);
    CHECK_THAT(error.what, Catch::Contains(what));
    CHECK(error.where == where);
    CHECK_FALSE(error.remedy.empty());
  };
  check("[meter]\ndead_time_s = ", "not TOML", "mine.toml:2:15");
  check("[meter]\n\ndead_time = 3\n", "no limit \"dead_time\" in [meter]", "mine.toml:3:1");
  check("[metre]\n", "no limits \"metre\"", "mine.toml:1:2");
  check("[meter]\ndead_time_s = \"3\"\n", "meter.dead_time_s must be a number", "mine.toml:2:15");
  check("[meter]\ndead_time_s = -0.5\n", "0 at least", "mine.toml:2:15");
  check("[meter]\ndead_time_s = inf\n", "finite", "mine.toml:2:15");
  check("[meter]\ndead_time_s = nan\n", "finite", "mine.toml:2:15");
  check("meter = 3\n", "must be a table", "mine.toml:1:1");
  CHECK_THAT(error_of("[meter]\ndead_time = 3\n").remedy,
             Catch::Contains("dead_time_s") && Catch::Contains("rise_time_s"));
  CHECK_THAT(error_of("[metre]\nx = 3\n").remedy,
             Catch::Contains("meter, ") && !Catch::Contains("dead_time_s"));
  CHECK(error_of(std::string(300 * 1024, '#')).where == "mine.toml");
  CHECK(error_of("[\"a\x1b[31m\xc3\"]\nx = 3\n").what.find('\x1b') == std::string::npos);
}
