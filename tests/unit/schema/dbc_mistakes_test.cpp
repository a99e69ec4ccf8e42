// Mistakes of syntax: told with file, line and signal; the rest of the file is used.
#include <catch2/catch.hpp>

#include "unit/schema/dbc_texts.hpp"

using namespace tramlog;

namespace {
const std::string kTwo =
    "BO_ 100 Wheel: 8 X\n SG_ Speed : 0|16@1+ (1,0) [0|0] \"km/h\" X\n SG_ Slip : 16|8@1+ (1,0) [0|0] \"%\" "
    "X\n";
const std::string kForm =
    "; write it as SG_ Name : 0|8@1+ (1,0) [0|255] \"unit\" Receiver; the signal is left out";
}  // namespace

TEST_CASE("a missing quote in a unit does not swallow the next signal") {
  const DbcFile file = parsed(
      "BO_ 100 Wheel: 8 X\n SG_ Speed : 0|16@1+ (1,0) [0|0] \"km/h X\n SG_ Slip : 16|8@1+ (1,0) [0|0] \"%\" "
      "X\n"
      "\nBO_ 101 Other: 8 X\n SG_ Load : 0|8@1+ (1,0) [0|0] \"kg X\n\nCM_ SG_ 100 Slip \"slip\";\n");
  CHECK(
      told(file) ==
      Lines{"t.dbc:2:34: error: Wheel.Speed: the text that begins here has no closing quote; put a \" behind "
            "its last character",
            "t.dbc:6:32: error: Other.Load: the text that begins here has no closing quote; put a \" behind "
            "its last character"});
  CHECK(signal_of(file, "Speed").bit_length == 16);
  CHECK(signal_of(file, "Speed").unit.empty());
  CHECK(signal_of(file, "Slip").unit == "%");
  CHECK(signal_of(file, "Slip").comment == "slip");
  CHECK(has_signal(file, "Load"));
}

TEST_CASE("a missing quote in a comment ends it before the next statement") {
  const DbcFile file =
      parsed(kTwo +
             "CM_ SG_ 100 Speed \"how fast;\nCM_ SG_ 100 Slip \"how much\";\n"
             "CM_ BO_ 100 The wheel\";\nBA_DEF_ BO_ \"Cycle\" INT 0 9;\nBA_ \"Cycle\" BO_ 100 5;\n");
  CHECK(
      told(file) ==
      Lines{"t.dbc:4:19: error: Wheel.Speed: the text that begins here has no closing quote; put a \" behind "
            "its last character",
            "t.dbc:6:13: error: Wheel: \"The\" stands where the comment in quotes is expected; write it as "
            "CM_ SG_ 2566853886 Signal \"text\";"});
  CHECK(signal_of(file, "Speed").comment == "how fast");
  CHECK(signal_of(file, "Slip").comment == "how much");
  CHECK(file.messages.at(0).attributes.size() == 1);
}

TEST_CASE("a missing quote in a value table keeps what is understood") {
  const DbcFile file = parsed(kTwo +
                              "VAL_ 100 Speed 0 \"off\" 1 \"on ;\nVAL_ 100 Slip 0 \"low 1 \"high\" ;\n"
                              "CM_ \"end\";\n");
  CHECK(
      told(file) ==
      Lines{"t.dbc:4:26: error: Wheel.Speed: the text that begins here has no closing quote; put a \" behind "
            "its last character",
            "t.dbc:5:25: error: Wheel.Slip: \"high\" stands where a code (a whole number of at most 64 bits) "
            "or ';' is expected; write it as VAL_ 2566853886 Signal 0 \"off\" 1 \"on\";"});
  CHECK(signal_of(file, "Speed").codes.size() == 2);
  CHECK(signal_of(file, "Speed").codes.at(1).text == "on");
  CHECK(signal_of(file, "Slip").codes.size() == 1);
  CHECK(file.comment == "end");
}

TEST_CASE("a comment may hold lines that look like statements") {
  const DbcFile file =
      parsed(kTwo +
             "CM_ SG_ 100 Slip \"before:\nBO_ is the message\nSG_ Slip : 8|8@1+ it was\nVAL_ 5 "
             "and so on\";\nCM_ BO_ 100 \"wheel\";\n");
  CHECK(told(file) == Lines{});
  CHECK(signal_of(file, "Slip").comment ==
        "before:\nBO_ is the message\nSG_ Slip : 8|8@1+ it was\nVAL_ 5 and so on");
  CHECK(file.messages.at(0).comment == "wheel");
}

TEST_CASE("a quote that is never closed ends with the file") {
  const DbcFile file = parsed(kTwo + "CM_ SG_ 100 Slip \"to the\nend ; \r\n");
  CHECK(told(file) ==
        Lines{"t.dbc:4:18: error: Wheel.Slip: the text that begins here has no closing quote; put a "
              "\" behind its last character"});
  CHECK(signal_of(file, "Slip").comment == "to the\nend");
}

TEST_CASE("a broken SG_ line loses this signal only") {
  const auto [line, problem] = GENERATE(table<std::string, std::string>({
      {"SG_ Bad 0|8@1+ (1,0) [0|0] \"\" X",
       "10: error: Wheel.Bad: \"0\" stands where ':', or M, m0, m0M is expected"},
      {"SG_ Bad m : 0|8@1+ (1,0) [0|0] \"\" X",
       "10: error: Wheel.Bad: \"m\" stands where ':', or M, m0, m0M is expected"},
      {"SG_ Bad : 0 8@1+ (1,0) [0|0] \"\" X", "14: error: Wheel.Bad: \"8\" stands where '|' is expected"},
      {"SG_ Bad : x|8@1+ (1,0) [0|0] \"\" X",
       "12: error: Wheel.Bad: \"x\" stands where the start bit is expected"},
      {"SG_ Bad : 0|8@2+ (1,0) [0|0] \"\" X",
       "16: error: Wheel.Bad: \"2\" stands where 0 (Motorola) or 1 (Intel) is expected"},
      {"SG_ Bad : 0|8@1 (1,0) [0|0] \"\" X",
       "18: error: Wheel.Bad: \"(\" stands where + (unsigned) or - (signed) is expected"},
      {"SG_ Bad : 0|8@1+ (0,1,0) [0|0] \"\" X", "23: error: Wheel.Bad: \",\" stands where ')' is expected"},
      {"SG_ Bad : 0|8@1+ [0|0] \"\" X", "19: error: Wheel.Bad: \"[\" stands where '(' is expected"},
      {"SG_ Bad : 0|8@1+ (\"1\",0) [0|0] \"\" X",
       "20: error: Wheel.Bad: a text in quotes stands where the factor is expected"},
      {"SG_ Bad : 0|8", "15: error: Wheel.Bad: the statement ends where '@' is expected"},
      {"SG_ : 0|8@1+ (1,0) [0|0] \"\" X",
       "6: error: Wheel: \":\" stands where the signal's name is expected"},
  }));
  const DbcFile file = parsed(kTwo + " " + line +
                              "\n SG_ Next : 24|8@1+ (1,0) [0|0] \"\" X\nCM_ SG_ 100 Bad \"b\";\n"
                              "CM_ SG_ 100 Next \"n\";\n");
  INFO(line);
  const Lines lines = told(file);
  REQUIRE(!lines.empty());
  CHECK(lines[0] == "t.dbc:4:" + problem + kForm);
  CHECK_FALSE(has_signal(file, "Bad"));
  CHECK(signal_of(file, "Next").comment == "n");
  CHECK(file.messages.at(0).signals.size() == 3);
}

TEST_CASE("lengths and start bits that no signal has") {
  const DbcFile file = parsed(
      "BO_ 1 A: 8 X\n SG_ Zero : 0|0@1+ (1,0) [0|0] \"\" X\n SG_ Long : 0|65@1+ (1,0) [0|0] \"\" "
      "X\n SG_ Far : 4294967296|8@1+ (1,0) [0|0] \"\" X\n");
  CHECK(
      told(file) ==
      Lines{"t.dbc:2:15: error: A.Zero: the length is 0 bits, 1 to 64 are possible; correct the length; the "
            "signal "
            "is left out",
            "t.dbc:3:15: error: A.Long: the length is 65 bits, 1 to 64 are possible; correct the length; the "
            "signal is left out",
            "t.dbc:4:12: error: A.Far: the start bit 4294967296 is beyond every message; correct the start "
            "bit; "
            "the signal is left out"});
  CHECK(file.messages.at(0).signals.empty());
}

TEST_CASE("numbers that are too large or too small") {
  const DbcFile file = parsed(
      "BO_ 1 A: 8 X\n SG_ F : 0|8@1+ (1e308,0) [0|0] \"\" X\n SG_ O : 0|8@1+ (1,-2.5E+400) [0|0] \"\" X\n"
      " SG_ T : 0|8@1+ (1e-308,0) [0|0] \"\" X\n SG_ N : 0|8@1+ (1e,0) [0|0] \"\" X\n"
      " SG_ Fine : 0|8@1+ (1e300,0) [0|0] \"\" X\n");
  CHECK(
      told(file) ==
      Lines{"t.dbc:2:18: error: A.F: the factor 1e308 is too large or too small to calculate with; correct "
            "it; the signal is left out",
            "t.dbc:3:20: error: A.O: the offset -2.5E+400 is too large or too small to calculate with; "
            "correct it; the signal is left out",
            "t.dbc:4:18: error: A.T: the factor 1e-308 is too large or too small to calculate with; correct "
            "it; the signal is left out",
            "t.dbc:5:18: error: A.N: \"1e\" stands where the factor is expected" + kForm});
  CHECK(file.messages.at(0).signals.size() == 1);
}

TEST_CASE("a range of a multiplexor that is upside down is told once") {
  const std::string pages =
      "BO_ 1 A: 8 X\n SG_ P M : 0|8@1+ (1,0) [0|0] \"\" X\n SG_ S m1 : 8|8@1+ (1,0) [0|0] \"\" X\n";
  CHECK(
      told(parsed(pages + "SG_MUL_VAL_ 1 S P 8-5;\n")) ==
      Lines{"t.dbc:4:19: error: A.S: the range 8-5 is upside down; write the smaller number first; the range "
            "is left out"});
  const DbcFile some = parsed(pages + "SG_MUL_VAL_ 1 S P 8-5, 2-3;\n");
  CHECK(told(some).size() == 1);
  CHECK(signal_of(some, "S").multiplex_ranges.at(0).first == 2);
  CHECK(
      told(parsed(pages + "SG_MUL_VAL_ 1 S P ;\n")) ==
      Lines{"t.dbc:4:19: error: A.S: \";\" stands where a range of values such as 0-3 is expected; write it "
            "as SG_MUL_VAL_ 2566853886 Signal Multiplexor 0-3, 8-8;"});
}

TEST_CASE("range, unit and receivers may be wrong or missing") {
  const DbcFile file = parsed(
      "BO_ 1 A: 8 X\n SG_ NoRange : 0|8@1+ (1,0) \"m\" X\n SG_ NoUnit : 8|8@1+ (1,0) [0|5] X\n"
      " SG_ Alone : 16|8@1+ (1,0) [0|5] \"\"\n SG_ Upside : 24|8@1+ (1,0) [5|-5] \"\" X\n"
      " SG_ Odd : 32|8@1+ (1,0) [nan|5] \"s\" X\n");
  CHECK(told(file) ==
        Lines{"t.dbc:2:29: warning: A.NoRange: a text in quotes stands where the range is expected; "
              "write it as [0|255], or [0|0] for none; the signal is used without a range",
              "t.dbc:3:34: warning: A.NoUnit: \"X\" stands where the unit in quotes is expected; put "
              "the unit in quotes, \"\" for none",
              "t.dbc:5:29: warning: A.Upside: the range [5|-5] is upside down; write the smaller "
              "number first; the signal is used without a range",
              "t.dbc:6:27: warning: A.Odd: \"nan\" stands where the minimum is expected; write it as "
              "[0|255], or [0|0] for none; the signal is used without a range"});
  CHECK(signal_of(file, "NoRange").unit == "m");
  CHECK(signal_of(file, "NoUnit").maximum == Decimal{5, 0});
  CHECK_FALSE(signal_of(file, "Upside").minimum);
  CHECK(signal_of(file, "Odd").unit == "s");
}

TEST_CASE("a broken BO_ line takes its signals with it, quietly") {
  const DbcFile file = parsed(
      "BO_ 100 Wheel 8 X\n SG_ Speed : 0|8@1+ (1,0) [0|0] \"\" X\nBO_ Name: 8 X\nBO_ 4294967295 Much: 8 X\n"
      "BO_ 101 Short: X\nBO_ 102 Good: 8 X\n SG_ S : 0|8@1+ (1,0) [0|0] \"\" X\nCM_ SG_ 100 Speed \"x\";\n");
  CHECK(
      told(file) ==
      Lines{"t.dbc:1:15: error: Wheel: \"8\" stands where ':' is expected; write it as BO_ 2566853886 "
            "Name: 8 Sender",
            "t.dbc:3:5: error: \"Name\" stands where the message's identifier, a decimal number, is "
            "expected; write "
            "it as BO_ 2566853886 Name: 8 Sender",
            "t.dbc:4:5: error: Much: 4294967295 is no identifier; write 0 to 2047 for 11 bits, or 2147483648 "
            "plus the "
            "identifier for 29 bits; the message is left out",
            "t.dbc:5:16: error: Short: \"X\" stands where the length in bytes is expected; write it as BO_ "
            "2566853886 Name: 8 Sender"});
  REQUIRE(file.messages.size() == 1);
  CHECK(file.messages[0].signals.size() == 1);
}

TEST_CASE("a statement without semicolon ends at the next one") {
  const DbcFile file =
      parsed(kTwo + "CM_ SG_ 100 Speed \"fast\"\nVAL_ 100 Slip 0 \"none\" 1 \"some\"\nBO_ 101 Next: 8 X\n");
  CHECK(told(file) ==
        Lines{"t.dbc:4:25: warning: Wheel.Speed: the statement ends where ';' is expected; write it as "
              "CM_ SG_ 2566853886 Signal \"text\";",
              "t.dbc:5:32: warning: Wheel.Slip: the statement ends where ';' is expected; write it as "
              "VAL_ 2566853886 Signal 0 \"off\" 1 \"on\";"});
  CHECK(signal_of(file, "Speed").comment == "fast");
  CHECK(signal_of(file, "Slip").codes.size() == 2);
  CHECK(file.messages.size() == 2);
}

TEST_CASE("what refers to nothing is told") {
  const DbcFile file =
      parsed(kTwo +
             "CM_ SG_ 100 Sped \"x\";\nBA_ \"A\" BO_ 101 1;\nVAL_ 2566844926 Speed 0 \"a\";\n"
             "VAL_ 100 Slip Table;\nSIG_VALTYPE_ 100 Slip : 3;\nSG_MUL_VAL_ 100 Slip Speed 5-3;\n"
             "SG_MUL_VAL_ 100 Slip;\n");
  CHECK(
      told(file) ==
      Lines{
          "t.dbc:4:13: warning: Wheel.Sped: the message has no signal of this name; correct the name, or "
          "remove "
          "the statement",
          "t.dbc:5:13: warning: message 0x065: the file has no message (BO_) with this identifier; correct "
          "the "
          "identifier, or remove the statement",
          "t.dbc:6:6: warning: message 0x18FEF1FE: the file has no message (BO_) with this identifier; "
          "correct "
          "the identifier, or remove the statement",
          "t.dbc:7:15: warning: Wheel.Slip: the file has no value table \"Table\" before this line; define "
          "it "
          "with VAL_TABLE_, or write codes and names here",
          "t.dbc:8:25: error: Wheel.Slip: 3 is no type: 0 (integer), 1 (float of 32 bits) or 2 (float of 64 "
          "bits) is expected; correct the type; the signal is read as an integer",
          "t.dbc:9:28: error: Wheel.Slip: the range 5-3 is upside down; write the smaller number first; the "
          "range is left out",
          "t.dbc:10:21: error: Wheel.Slip: \";\" stands where the multiplexor's name is expected; write it "
          "as "
          "SG_MUL_VAL_ 2566853886 Signal Multiplexor 0-3, 8-8;"});
}

TEST_CASE("texts that are no DBC file") {
  CHECK(told(parsed("")) ==
        Lines{"t.dbc: error: the file holds no statement of a DBC file; check that it is a DBC "
              "file and not something else"});
  CHECK(told(parsed("\n \r\n")).size() == 1);
  CHECK(told(parsed("VERSION \"1\"\n")) ==
        Lines{"t.dbc: warning: the file holds no message (BO_); check that it is the right file"});
  CHECK(told(parsed("\xFF\xFE"
                    "B\0O\0")) ==
        Lines{"t.dbc: error: the file is UTF-16 text; save it as UTF-8 or Latin-1"});
  CHECK(
      told(parsed(" SG_ S : 0|8@1+ (1,0) [0|0] \"\" X\n")).at(1) ==
      "t.dbc:1: error: S: the signal belongs to no message: no BO_ is before it; put it below the BO_ of its "
      "message");
  CHECK(told(parsed("{\"a\": 1}\nBO_ 1 A: 8 X\n")).at(0) ==
        "t.dbc:1:1: error: \"{\" stands where a keyword such as BO_ or CM_ is expected; remove it, or check "
        "the "
        "quotes and ';' of the lines before");
}

TEST_CASE("names in problems are cut and printable") {
  const std::string name(70, 'n');
  const DbcFile file = parsed("BO_ 1 " + name + ": 8 X\n SG_ \xE4 0\nBO_ 2 \x1b: 8 X\n");
  CHECK(told(file) ==
        Lines{"t.dbc:2:8: error: " + std::string(57, 'n') +
                  "....\u00e4: \"0\" stands where ':', or M, m0, m0M is expected" + kForm,
              "t.dbc:3:8: error: message 0x002: \":\" stands where the message's name is expected; "
              "write it as BO_ 2566853886 Name: 8 Sender"});
}
