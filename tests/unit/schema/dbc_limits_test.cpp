// Hostile texts: bounded memory and time, and the caps are told.
#include "schema/dbc_limits.hpp"

#include <catch2/catch.hpp>
#include <ctime>

#include "unit/schema/dbc_texts.hpp"

using namespace tramlog;

namespace {
std::string repeated(std::string_view piece, std::size_t times) {
  std::string text;
  text.reserve(piece.size() * times);
  for (std::size_t i = 0; i < times; ++i) text += piece;
  return text;
}
bool is_told(const DbcFile& file, std::string_view piece) {
  for (const std::string& line : told(file))
    if (line.find(piece) != std::string::npos) return true;
  return false;
}
}  // namespace

TEST_CASE("tokens are counted as they stand") {
  CHECK(count_dbc_tokens("") == 0);
  CHECK(count_dbc_tokens(" SG_ S : 0|8@1+ (1,0) [0|0] \"a b\" X // rest\n") == 21);
  CHECK(count_dbc_tokens("BO_ 1 \"never closed\nBO_ 2 A: 8 X") == 9);
}

TEST_CASE("problems are capped and counted") {
  const DbcFile file = checked("BO_ 1 A: 8 X\n" + repeated(" SG_ S 0\n", 1500));
  CHECK(file.problems.size() == kMaxSchemaProblems);
  CHECK(file.problems_left_out == 500);
  CHECK(file.problem_count == ProblemCount{1500, 0});
  // Warnings count as such, and so does what is found after the reading.
  const DbcFile mixed = checked("BO_ 1 A: 8 X\n" + repeated(" SG_ S 0\n", 1200) +
                                " SG_ W : 0|8@1+ (1,0) [0|300] \"\" X\n SG_ Z : 8|8@1+ (0,0) [0|0] \"\" X\n");
  CHECK(mixed.problem_count == ProblemCount{1201, 1});
  CHECK(mixed.problems_left_out == 202);
}

TEST_CASE("texts that are copied again and again are bounded") {
  std::string text = "BO_ 1 A: 8 X\n", uses;
  for (const char c : {'A', 'B', 'C', 'D', 'E', 'F'}) {
    text += std::string(" SG_ ") + c + " : 0|8@1+ (1,0) [0|0] \"\" X\n";
    uses += std::string("VAL_ 1 ") + c + " T;\n";
  }
  const DbcFile file =
      parsed(text + "VAL_TABLE_ T 1 \"" + std::string(kMaxDbcCopiedBytes / 4, 'x') + "\";\n" + uses);
  CHECK(told(file) ==
        Lines{"t.dbc:13:10: error: A.E: the file holds too many bytes of repeated texts: from here on "
              "they are left out, 67108864 is the most; split the file"});
}

TEST_CASE("too many of a kind are told") {
  CHECK(is_told(parsed(repeated("BO_ 1 A: 8 X\n", kMaxDbcMessages + 1)), "too many messages"));
  CHECK(is_told(parsed("BO_ 1 A: 8 X\nBA_DEF_ \"A\" ENUM " + repeated("a,", 1001) + "b;\n"),
                "more than 1000 choices"));
  std::string definitions = "BO_ 1 A: 8 X\n";
  for (std::size_t i = 0; i <= kMaxDbcDefinitions; ++i)
    definitions += "BA_DEF_ \"A" + std::to_string(i) + "\" INT 0 1;\n";
  const DbcFile file = parsed(definitions);
  CHECK(is_told(file, "too many definitions"));
  CHECK(file.definitions.size() == kMaxDbcDefinitions);
}

TEST_CASE("hostile texts take time by their length only") {
  // Each of these would be quadratic if a search or comparison began again at every line.
  std::string ranges = "BO_ 1 A: 8 X\n SG_ P M : 0|16@1+ (1,0) [0|0] \"\" X\n";
  std::string chain = ranges;
  for (int i = 0; i < 6000; ++i) {
    const std::string name = "S" + std::to_string(i);
    ranges += " SG_ " + name + " m1 : 16|8@1+ (1,0) [0|0] \"\" X\n";
    chain += " SG_ " + name + " m1M : 16|8@1+ (1,0) [0|0] \"\" X\n";
  }
  for (int i = 0; i < 6000; ++i) {
    const std::string code = std::to_string(2 * i);
    ranges += "SG_MUL_VAL_ 1 S" + std::to_string(i) + " P " + code + "-" + std::to_string(2 * i + 1) + ";\n";
    chain += "SG_MUL_VAL_ 1 S" + std::to_string(i) + " " + (i == 0 ? "P" : "S" + std::to_string(i - 1)) +
             " 1-1;\n";
  }
  std::string alike = "BO_ 1 A: 8 X\n SG_ P M : 0|16@1+ (1,0) [0|0] \"\" X\n";
  for (int i = 0; i < 20000; ++i)
    alike += " SG_ S" + std::to_string(i) + " m" + std::to_string(i) + " : 16|8@1+ (1,0) [0|0] \"\" X\n";
  const std::vector<std::string> texts = {
      repeated("BO_ 1 A\\\"\n", 100'000),
      repeated("CM_ \"abc\n", 100'000),
      repeated("CM_ SG_ 1 \"abc\\\";\n\n", 50'000),
      std::string(1'000'000, '"'),
      std::string(1'000'000, '\n'),
      std::string(1'000'000, 'B'),
      "CM_ \"" + repeated("BO_ 1 A: 8 X\n", 80'000) + "\";\n",
      "BO_ 1 A: 8 X\n" + repeated(" SG_ S : 0|8@1+ (1,0) [0|0] \"\" X\n", 30'000),
      ranges,
      chain,
      alike,
  };
  for (const std::string& text : texts) {
    const std::clock_t begin = std::clock();
    const DbcFile file = checked(text);
    CHECK(file.problems.size() <= kMaxSchemaProblems);
    // A thousandth of this in an ordinary build; quadratic ways take minutes.
    CHECK(static_cast<double>(std::clock() - begin) / CLOCKS_PER_SEC < 20);
  }
  CHECK(told(checked(ranges)) ==
        Lines{"t.dbc:1: warning: A: it has too many multiplexed signals in the same place to compare each "
              "with each; look for signals that share bits yourself, or split the file"});
  CHECK(told(checked(alike)) == Lines{});
}
