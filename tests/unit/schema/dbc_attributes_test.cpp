// Values of attributes against their definitions, and against what they mean.
#include <catch2/catch.hpp>

#include "schema/schema.hpp"
#include "unit/schema/dbc_texts.hpp"

using namespace tramlog;

namespace {

const std::string kOne = "BO_ 1 A: 8 X\n SG_ S : 0|8@1+ (1,0) [0|0] \"\" X\n";

Lines told_of(const std::string& text) {
  return told(checked(kOne + text));
}

MessageSpec spec_with(const std::string& text) {
  DbcFile file = checked(kOne + text);
  return make_message_spec(std::move(file.messages.at(0)), file);
}

}  // namespace

TEST_CASE("numbers outside the range of their definition") {
  CHECK(
      told_of("BA_DEF_ BO_ \"Delay\" INT 0 100;\nBA_DEF_ SG_ \"Mask\" HEX 0x10 0xFF;\n"
              "BA_DEF_ \"Bias\" FLOAT -1.5 1.5;\nBA_ \"Delay\" BO_ 1 101;\nBA_ \"Mask\" SG_ 1 S 0x0F;\n"
              "BA_ \"Bias\" -1.51;\n") ==
      Lines{
          "t.dbc:6:19: warning: A: the attribute \"Delay\" has the value 101, its range is 0 to 100; correct "
          "the value, or the range in its BA_DEF_",
          "t.dbc:7:20: warning: A.S: the attribute \"Mask\" has the value 15, its range is 16 to 255; "
          "correct "
          "the value, or the range in its BA_DEF_",
          "t.dbc:8:12: warning: the attribute \"Bias\" has the value -1.51, its range is -1.5 to 1.5; "
          "correct "
          "the value, or the range in its BA_DEF_"});
}

TEST_CASE("numbers on the limits, and definitions without limits") {
  CHECK(told_of("BA_DEF_ BO_ \"Delay\" INT 0 100;\nBA_DEF_ BO_ \"Free\" INT 0 0;\nBA_DEF_ BO_ \"Bare\" INT;\n"
                "BA_DEF_ BO_ \"Real\" FLOAT -1.7E+308 1.7E+308;\n"
                "BA_ \"Delay\" BO_ 1 0;\nBA_ \"Delay\" BO_ 1 100;\nBA_ \"Free\" BO_ 1 7;\n"
                "BA_ \"Bare\" BO_ 1 -7;\nBA_ \"Real\" BO_ 1 1e9;\n") == Lines{});
}

TEST_CASE("a default outside the range, a range upside down, a choice that is none") {
  CHECK(
      told_of("BA_DEF_ BO_ \"Delay\" INT 1 100;\nBA_DEF_ BO_ \"Turned\" INT 9 1;\n"
              "BA_DEF_ BO_ \"Kind\" ENUM \"a\",\"b\";\n"
              "BA_DEF_DEF_ \"Delay\" 0;\nBA_ \"Turned\" BO_ 1 50;\nBA_ \"Kind\" BO_ 1 \"nonsense\";\n") ==
      Lines{
          "t.dbc:4:26: warning: Turned: the range 9 to 1 is upside down; write the smaller number first; "
          "values "
          "are not held against it",
          "t.dbc:6:21: warning: Delay: the attribute \"Delay\" has the value 0, its range is 1 to 100; "
          "correct "
          "the value, or the range in its BA_DEF_",
          "t.dbc:8:18: warning: A: the attribute \"Kind\" has the value \"nonsense\", which is none of its 2 "
          "choices; write a choice of its BA_DEF_ or its index, counted from 0"});
}

TEST_CASE("cycle times that are no period") {
  const std::string defined = "BA_DEF_ BO_ \"GenMsgCycleTime\" FLOAT -1e9 1e9;\n";
  for (const char* value : {"-5", "0.5", "3600001", "1e9"}) {
    CAPTURE(value);
    const std::string text = defined + "BA_ \"GenMsgCycleTime\" BO_ 1 " + value + ";\n";
    const std::string shown = std::string(value) == "1e9" ? "1000000000" : value;
    CHECK(told_of(text) ==
          Lines{"t.dbc:4:29: warning: A: the cycle time (GenMsgCycleTime) of " + shown +
                " ms is no period, 1 to 3600000 ms are possible; correct it, or write 0 for none; "
                "it is not used"});
    CHECK(spec_with(text).period == 0);
    CHECK(spec_with(text).sending == Sending::unknown);
  }
  for (const std::int64_t value : {1, 100, 3'600'000}) {
    const std::string text = defined + "BA_ \"GenMsgCycleTime\" BO_ 1 " + std::to_string(value) + ";\n";
    CHECK(told_of(text) == Lines{});
    CHECK(spec_with(text).period == value * 1'000'000);
  }
  CHECK(told_of(defined + "BA_ \"GenMsgCycleTime\" BO_ 1 0;\n") == Lines{});
  // One warning is enough, and a definition is not needed for it to be told.
  CHECK(told_of("BA_DEF_ BO_ \"GenMsgCycleTime\" INT 0 65535;\nBA_ \"GenMsgCycleTime\" BO_ 1 -1;\n").size() ==
        1);
  CHECK(told_of("BA_ \"GenMsgCycleTime\" BO_ 1 -1;\n").size() == 1);
  CHECK(told_of("BA_DEF_ BO_ \"GenMsgCycleTime\" INT -9 9;\nBA_DEF_DEF_ \"GenMsgCycleTime\" -1;\n").size() ==
        1);
}

TEST_CASE("numbers that are no SPN") {
  const std::string defined = "BA_DEF_ SG_ \"SPN\" FLOAT 0 1000000;\n";
  for (const char* value : {"-1", "1.5", "524288"}) {
    CAPTURE(value);
    const std::string text = defined + "BA_ \"SPN\" SG_ 1 S " + value + ";\n";
    CHECK(told_of(text) ==
          Lines{std::string("t.dbc:4:19: warning: A.S: ") + value +
                " is no SPN, whole numbers up to 524287 are possible; correct it, or write 0 for "
                "none; it is not used"});
    CHECK_FALSE(spec_with(text).signals.at(0).spn);
  }
  CHECK(told_of(defined + "BA_ \"SPN\" SG_ 1 S 524287;\n") == Lines{});
  CHECK(spec_with(defined + "BA_ \"SPN\" SG_ 1 S 524287;\n").signals.at(0).spn == 524'287U);
  CHECK(told_of(defined + "BA_ \"SPN\" SG_ 1 S 0;\n") == Lines{});
}

TEST_CASE("one SPN of several signals is no mistake") {
  CHECK(told_of(" SG_ T : 8|8@1+ (1,0) [0|0] \"\" X\nBA_DEF_ SG_ \"SPN\" INT 0 524287;\n"
                "BA_ \"SPN\" SG_ 1 S 190;\nBA_ \"SPN\" SG_ 1 T 190;\n") == Lines{});
}
