#include "report/page.hpp"

#include <algorithm>
#include <catch2/catch.hpp>

using namespace tramlog;

namespace {

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = text.find('\n', at);
    REQUIRE(end != std::string::npos);
    lines.push_back(text.substr(at, end - at));
    at = end + 1;
  }
  return lines;
}

void check_plain(const std::string& text) {
  for (const std::string& line : lines_of(text)) {
    INFO(line);
    REQUIRE(line.size() <= Page::kWidth);
    REQUIRE(std::all_of(line.begin(), line.end(), [](char c) { return c >= ' ' && c < 127; }));
    REQUIRE((line.empty() || line.back() != ' '));
  }
}

}  // namespace

TEST_CASE("An item hangs at its prefix") {
  Page page(false);
  page.item("  * ", "one two three " + std::string(70, 'x') + " four");
  const auto lines = lines_of(page.take());
  REQUIRE(lines.size() == 3);
  CHECK(lines[0] == "  * one two three");
  CHECK(lines[1] == "    " + std::string(70, 'x'));
  CHECK(lines[2] == "    four");
}

TEST_CASE("An item without text is its prefix; an empty line is a line") {
  Page page(false);
  page.item("  - ", "");
  page.line();
  page.line("x");
  CHECK(page.take() == "  -\n\nx\n");
}

TEST_CASE("A row wraps each cell in its column, and the last one takes the rest") {
  Page page(false);
  page.row({"state", "a long controller name", "end"}, {8, 12});
  const auto lines = lines_of(page.take());
  REQUIRE(lines.size() == 3);
  CHECK(lines[0] == "state   a long      end");
  CHECK(lines[1] == "        controller");
  CHECK(lines[2] == "        name");
}

TEST_CASE("Nothing is wider than 78 columns or outside ASCII, whatever comes") {
  const std::string wild =
      "na\xC3\xAFve \xF0\x9F\x9A\x9C \x1B[31m\x01\xFF\xFE tab\there " + std::string(300, 'w');
  Page page(false);
  page.line(wild);
  page.heading(wild);
  page.item("  1. ", wild);
  page.item(wild, wild);
  page.item(std::string(78, 'p'), "text");
  page.row({wild, wild, wild, wild}, {17, 24, 11});
  check_plain(page.take());
}

TEST_CASE("With Unicode, columns are code points") {
  Page page(true);
  page.row({"\xC3\xA9\xC3\xA9", "b"}, {4});
  CHECK(page.take() == "\xC3\xA9\xC3\xA9  b\n");
}
