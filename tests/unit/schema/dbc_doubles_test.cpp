// What a file says twice: told, and the later counts.
#include <catch2/catch.hpp>

#include "unit/schema/dbc_texts.hpp"

using namespace tramlog;

namespace {
const std::string kOne =
    "BO_ 1 A: 8 X\n SG_ S : 0|8@1+ (1,0) [0|0] \"\" X\n SG_ T : 8|8@1+ (1,0) [0|0] \"\" X\n";
}  // namespace

TEST_CASE("a code that a VAL_ names twice") {
  const DbcFile file = checked(kOne + "VAL_ 1 S 0 \"off\" 3 \"none\" 1 \"on\" 3 \"broken\" ;\n");
  CHECK(told(file) ==
        Lines{"t.dbc:4: warning: A.S: the code 3 stands here twice, \"none\" and \"broken\": the later name "
              "counts; leave out one of them"});
  const std::vector<CodeName>& codes = signal_of(file, "S").codes;
  REQUIRE(codes.size() == 3);
  CHECK(codes[0].text == "off");
  CHECK(codes[1].text == "on");
  CHECK(codes[2].code == 3);
  CHECK(codes[2].text == "broken");
}

TEST_CASE("of several such codes the first is named") {
  const DbcFile file = checked(kOne + "VAL_ 1 S 1 \"a\" 2 \"b\" 2 \"c\" 1 \"d\" 1 \"e\" ;\n");
  CHECK(
      told(file) ==
      Lines{"t.dbc:4: warning: A.S: the code 1 stands here twice, \"a\" and \"d\": the later name counts; so "
            "do 2 more; leave out one of them"});
  const std::vector<CodeName>& codes = signal_of(file, "S").codes;
  REQUIRE(codes.size() == 2);
  CHECK(codes[0].text == "c");
  CHECK(codes[1].text == "e");
}

TEST_CASE("codes in any order are no mistake") {
  for (const char* codes :
       {"0 \"a\" 1 \"b\" 2 \"c\"", "2 \"a\" 1 \"b\" 0 \"c\"", "1 \"a\" 2 \"b\" 0 \"c\"", ""})
    CHECK(told(checked(kOne + "VAL_ 1 S " + codes + " ;\n")) == Lines{});
}

TEST_CASE("a value table that names a code twice is told once, not by its users") {
  const DbcFile file = checked(kOne + "VAL_TABLE_ Tab 1 \"a\" 1 \"b\" ;\nVAL_ 1 S Tab ;\nVAL_ 1 T Tab ;\n");
  CHECK(told(file) ==
        Lines{"t.dbc:4: warning: Tab: the code 1 stands here twice, \"a\" and \"b\": the later name counts; "
              "leave out one of them"});
  REQUIRE(signal_of(file, "T").codes.size() == 1);
  CHECK(signal_of(file, "T").codes[0].text == "b");
}

TEST_CASE("a second VAL_ of a signal") {
  const DbcFile file = checked(kOne +
                               "VAL_TABLE_ Tab 5 \"t\" ;\nVAL_ 1 S 1 \"a\" ;\nVAL_ 1 T 1 \"a\" ;\n"
                               "VAL_ 1 S 2 \"b\" ;\nVAL_ 1 T Tab ;\n");
  CHECK(told(file) ==
        Lines{"t.dbc:7: warning: A.S: this VAL_ replaces an earlier one of the same signal; leave out "
              "one of them, or make one of both",
              "t.dbc:8: warning: A.T: this VAL_ replaces an earlier one of the same signal; leave out "
              "one of them, or make one of both"});
  CHECK(signal_of(file, "S").codes.at(0).code == 2);
  CHECK(signal_of(file, "T").codes.at(0).code == 5);
}

TEST_CASE("a second comment of a signal, a message, the file") {
  const DbcFile file = checked(kOne +
                               "CM_ \"x\";\nCM_ BO_ 1 \"x\";\nCM_ SG_ 1 S \"x\";\nCM_ SG_ 1 T \"x\";\n"
                               "CM_ BU_ X \"x\";\nCM_ BU_ X \"y\";\n"
                               "CM_ SG_ 1 S \"y\";\nCM_ BO_ 1 \"y\";\nCM_ \"y\";\n");
  CHECK(told(file) ==
        Lines{"t.dbc:10: warning: A.S: this comment replaces an earlier one of the same signal; leave "
              "out one of them, or make one of both",
              "t.dbc:11: warning: A: this comment replaces an earlier one of the same message; leave "
              "out one of them, or make one of both",
              "t.dbc:12: warning: this comment replaces an earlier one of the same file; leave out one "
              "of them, or make one of both"});
  CHECK(file.comment == "y");
  CHECK(signal_of(file, "S").comment == "y");
  CHECK(signal_of(file, "T").comment == "x");
}
