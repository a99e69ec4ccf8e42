// Mistakes that are no matter of syntax: told, and what cannot be used is left out.
#include <catch2/catch.hpp>

#include "unit/schema/dbc_texts.hpp"

using namespace tramlog;

TEST_CASE("a signal outside its message is left out") {
  // Motorola: bit 7 is the first of byte 1; 8 bits from bit 3 need the upper half of byte 2.
  const DbcFile file = checked(
      "BO_ 1 A: 2 X\n SG_ Last : 8|8@1+ (1,0) [0|0] \"\" X\n SG_ Over : 9|8@1+ (1,0) [0|0] \"\" X\n"
      " SG_ Motor : 3|4@0+ (1,0) [0|0] \"\" X\n SG_ Beyond : 11|8@0+ (1,0) [0|0] \"\" X\n"
      "CM_ SG_ 1 Over \"gone\";\n");
  CHECK(
      told(file) ==
      Lines{
          "t.dbc:3: error: A.Over: 8 bits from start bit 9 (Intel) do not fit into the 2 bytes of the "
          "message; "
          "correct the start bit, the length, the byte order or the length of the message; the signal is "
          "left "
          "out",
          "t.dbc:5: error: A.Beyond: 8 bits from start bit 11 (Motorola) do not fit into the 2 bytes of the "
          "message; correct the start bit, the length, the byte order or the length of the message; the "
          "signal "
          "is left out"});
  REQUIRE(file.messages.at(0).signals.size() == 2);
  CHECK(file.messages[0].signals[0].name == "Last");
  CHECK(file.messages[0].signals[1].name == "Motor");
}

TEST_CASE("signals that share bits are told once, by the later line") {
  const DbcFile file = checked(
      "BO_ 1 A: 8 X\n SG_ First : 0|12@1+ (1,0) [0|0] \"\" X\n SG_ Second : 11|5@1+ (1,0) [0|0] \"\" X\n"
      " SG_ Fine : 16|8@1+ (1,0) [0|0] \"\" X\n SG_ Inside : 20|2@1+ (1,0) [0|0] \"\" X\n");
  CHECK(told(file) ==
        Lines{"t.dbc:3: warning: A.Second: it shares bit 3 of byte 2 with \"First\" in line 2; correct "
              "start bit and length of one of them",
              "t.dbc:5: warning: A.Inside: it shares bit 4 of byte 3 with \"Fine\" in line 4; correct "
              "start bit and length of one of them"});
  CHECK(file.messages.at(0).signals.size() == 4);
}

TEST_CASE("overlaps are found across byte orders, and only where there are any") {
  // 12 bits from bit 7, Motorola: all of byte 1 and bits 7..4 of byte 2. So bits 3..0 of byte 2 (Intel 8..11)
  // are free.
  const std::string motor = "BO_ 1 A: 8 X\n SG_ Motor : 7|12@0+ (1,0) [0|0] \"\" X\n";
  CHECK(told(checked(motor + " SG_ Free : 8|4@1+ (1,0) [0|0] \"\" X\n")) == Lines{});
  CHECK(told(checked(motor + " SG_ Hit : 8|5@1+ (1,0) [0|0] \"\" X\n")) ==
        Lines{"t.dbc:3: warning: A.Hit: it shares bit 4 of byte 2 with \"Motor\" in line 2; correct start "
              "bit and "
              "length of one of them"});
  // 20 bits from bit 3: bits 3..0 of byte 1, bytes 2 and 3 whole.
  const std::string wide = "BO_ 1 A: 8 X\n SG_ Wide : 3|20@0+ (1,0) [0|0] \"\" X\n";
  CHECK(told(checked(wide +
                     " SG_ Free : 4|4@1+ (1,0) [0|0] \"\" X\n SG_ Next : 24|8@1+ (1,0) [0|0] \"\" X\n")) ==
        Lines{});
  CHECK(told(checked(wide + " SG_ Hit : 23|1@1+ (1,0) [0|0] \"\" X\n")).size() == 1);
}

TEST_CASE("every pair of small signals overlaps exactly if they have a bit in common") {
  // The bits of a signal, walked one by one: little upwards, big downwards and on at bit 7 of the next byte.
  const auto bits = [](bool little, int start, int length) {
    std::uint64_t set = 0;
    int at = start;
    for (int i = 0; i < length; ++i) {
      set |= std::uint64_t{1} << at;
      at = little ? at + 1 : at % 8 != 0 ? at - 1 : at + 15;
    }
    return set;
  };
  for (int start = 0; start < 16; start += 3)
    for (int length = 1; length <= 18; length += 4)
      for (int other = 0; other < 24; other += 2)
        for (const int orders : {0, 1, 2, 3}) {
          const bool a = (orders & 1) != 0, b = (orders & 2) != 0;
          const auto line = [](const char* name, int from, int size, bool little) {
            return " SG_ " + std::string(name) + " : " + std::to_string(from) + "|" + std::to_string(size) +
                   "@" + (little ? "1" : "0") + "+ (1,0) [0|0] \"\" X\n";
          };
          const DbcFile file =
              checked("BO_ 1 A: 8 X\n" + line("P", start, length, a) + line("Q", other, 5, b));
          INFO(start << ' ' << length << ' ' << other << ' ' << orders);
          REQUIRE(file.problems.size() == ((bits(a, start, length) & bits(b, other, 5)) != 0 ? 1u : 0u));
        }
}

TEST_CASE("signals that are never present together may share bits") {
  const std::string page = "BO_ 1 A: 8 X\n SG_ Page M : 0|8@1+ (1,0) [0|0] \"\" X\n";
  CHECK(told(checked(
            page + " SG_ One m1 : 8|8@1+ (1,0) [0|0] \"\" X\n SG_ Two m2 : 8|16@1+ (1,0) [0|0] \"\" X\n")) ==
        Lines{});
  CHECK(told(checked(page +
                     " SG_ One m1 : 8|8@1+ (1,0) [0|0] \"\" X\n SG_ Two m2 : 8|16@1+ (1,0) [0|0] \"\" X\n"
                     " SG_ Again m1 : 12|8@1+ (1,0) [0|0] \"\" X\n")) ==
        Lines{"t.dbc:5: warning: A.Again: it shares bit 4 of byte 2 with \"One\" in line 3; correct start "
              "bit and "
              "length of one of them"});
  CHECK(told(checked(
            page + " SG_ One m1 : 8|8@1+ (1,0) [0|0] \"\" X\n SG_ Always : 15|8@1+ (1,0) [0|0] \"\" X\n")) ==
        Lines{"t.dbc:4: warning: A.Always: it shares bit 7 of byte 2 with \"One\" in line 3; correct start "
              "bit and "
              "length of one of them"});
  CHECK(
      told(checked(page + " SG_ One m1 : 4|8@1+ (1,0) [0|0] \"\" X\n")) ==
      Lines{
          "t.dbc:3: warning: A.One: it shares bit 4 of byte 1 with \"Page\" in line 2; correct start bit and "
          "length of one of them"});
}

TEST_CASE("nested multiplexing excludes where the ways part") {
  const std::string nested =
      "BO_ 1 A: 8 X\n SG_ Top M : 0|8@1+ (1,0) [0|0] \"\" X\n SG_ Low m1M : 8|8@1+ (1,0) [0|0] \"\" X\n"
      " SG_ P m1 : 16|8@1+ (1,0) [0|0] \"\" X\n SG_ Q m2 : 16|8@1+ (1,0) [0|0] \"\" X\n"
      " SG_ R m2 : 16|8@1+ (1,0) [0|0] \"\" X\nSG_MUL_VAL_ 1 Low Top 1-1;\nSG_MUL_VAL_ 1 R Top 2-3;\n";
  CHECK(told(checked(nested + "SG_MUL_VAL_ 1 P Low 1-3;\nSG_MUL_VAL_ 1 Q Low 4-5, 7-9;\n")) == Lines{});
  CHECK(told(checked(nested + "SG_MUL_VAL_ 1 P Low 1-4;\nSG_MUL_VAL_ 1 Q Low 4-5, 7-9;\n")) ==
        Lines{"t.dbc:5: warning: A.Q: it shares bit 0 of byte 3 with \"P\" in line 4; correct start bit and "
              "length "
              "of one of them"});
}

TEST_CASE("multiplexing that cannot be decided is left out") {
  CHECK(told(checked("BO_ 1 A: 8 X\n SG_ S m1 : 0|8@1+ (1,0) [0|0] \"\" X\n")) ==
        Lines{"t.dbc:2: error: A.S: it is multiplexed, but the message has no multiplexor (a signal with M); "
              "mark the "
              "multiplexor with M, or remove the m of this signal; the signal is left out"});
  const DbcFile two = checked(
      "BO_ 1 A: 8 X\n SG_ P M : 0|8@1+ (1,0) [0|0] \"\" X\n SG_ Q M : 8|8@1+ (1,0) [0|0] \"\" X\n"
      " SG_ S m1 : 16|8@1+ (1,0) [0|0] \"\" X\n SG_ T m1 : 24|8@1+ (1,0) [0|0] \"\" X\nSG_MUL_VAL_ 1 T Q "
      "1-1;\n");
  CHECK(told(two) ==
        Lines{"t.dbc:4: error: A.S: it is multiplexed, but the message has 2 multiplexors (M), and no "
              "SG_MUL_VAL_ says which of them chooses it; add a SG_MUL_VAL_ for it, or keep one M; the "
              "signal is left out"});
  CHECK(has_signal(two, "T"));
  const DbcFile circle = checked(
      "BO_ 1 A: 8 X\n SG_ P m1M : 0|8@1+ (1,0) [0|0] \"\" X\n SG_ Q m1M : 8|8@1+ (1,0) [0|0] \"\" X\n"
      " SG_ Ok : 16|8@1+ (1,0) [0|0] \"\" X\nSG_MUL_VAL_ 1 P Q 1-1;\nSG_MUL_VAL_ 1 Q P 1-1;\n");
  CHECK(told(circle) == Lines{"t.dbc:2: error: A.P: its multiplexors go round in a circle: \"P\" is chosen "
                              "by \"Q\" and so on; correct "
                              "the SG_MUL_VAL_; the signal is left out",
                              "t.dbc:3: error: A.Q: its multiplexors go round in a circle: \"Q\" is chosen "
                              "by \"P\" and so on; correct "
                              "the SG_MUL_VAL_; the signal is left out"});
  CHECK(circle.messages.at(0).signals.size() == 1);
  const DbcFile gone = checked(
      "BO_ 1 A: 8 X\n SG_ P M : 60|8@1+ (1,0) [0|0] \"\" X\n SG_ S m1 : 0|8@1+ (1,0) [0|0] \"\" X\n"
      " SG_ T : 8|8@1+ (1,0) [0|0] \"\" X\nSG_MUL_VAL_ 1 T Gone 1-1;\n");
  REQUIRE(told(gone).size() == 3);
  CHECK(told(gone)[1] ==
        "t.dbc:3: error: A.S: its multiplexor \"P\" was left out; correct the multiplexor; the signal is "
        "left out");
  CHECK(told(gone)[2] ==
        "t.dbc:4: error: A.T: its multiplexor \"Gone\" (SG_MUL_VAL_) is no signal of the message; "
        "correct the name; the signal is left out");
  CHECK(gone.messages.at(0).signals.empty());
}

TEST_CASE("what waits for a circle of multiplexors is told once") {
  const std::string circle =
      "BO_ 1 A: 8 X\n SG_ P m1M : 0|8@1+ (1,0) [0|0] \"\" X\n SG_ Q m1M : 8|8@1+ (1,0) [0|0] \"\" X\n"
      " SG_ R m1 : 16|8@1+ (1,0) [0|0] \"\" X\n";
  const std::string ways = "SG_MUL_VAL_ 1 P Q 1-1;\nSG_MUL_VAL_ 1 Q P 1-1;\n";
  const Lines one = told(checked(circle + ways));
  REQUIRE(one.size() == 3);
  CHECK(one[2] ==
        "t.dbc:4: error: A.R: its multiplexor is one of those that go round in a circle; correct the "
        "SG_MUL_VAL_; the signal is left out");
  const DbcFile many = checked(circle + " SG_ S m2 : 16|8@1+ (1,0) [0|0] \"\" X\n" +
                               " SG_ T m3 : 16|8@1+ (1,0) [0|0] \"\" X\n" + ways);
  REQUIRE(told(many).size() == 3);
  CHECK(
      told(many)[2] ==
      "t.dbc:4: error: A.R: its multiplexor is one of those that go round in a circle, as is that of 2 more "
      "signals; correct the SG_MUL_VAL_; the signal is left out");
  CHECK(many.messages.at(0).signals.empty());
  // No circle: then a multiplexor is missing indeed.
  const Lines missing = told(checked(circle + "SG_MUL_VAL_ 1 P Q 1-1;\n"));
  REQUIRE(missing.size() == 3);
  CHECK(missing[2] ==
        "t.dbc:4: error: A.R: it is multiplexed, but the message has no multiplexor (a signal with M); mark "
        "the "
        "multiplexor with M, or remove the m of this signal; the signal is left out");
}

TEST_CASE("a multiplexor that is not marked, and values that it cannot have") {
  const DbcFile file = checked(
      "BO_ 1 A: 8 X\n SG_ P : 0|2@1+ (1,0) [0|0] \"\" X\n SG_ S : 8|8@1+ (1,0) [0|0] \"\" X\nSG_MUL_VAL_ 1 S "
      "P 4-5;\n");
  CHECK(told(file) ==
        Lines{"t.dbc:2: warning: A.P: it is used as a multiplexor (SG_MUL_VAL_), but not marked as one; "
              "write M behind its name",
              "t.dbc:3: warning: A.S: it is chosen by 4 of \"P\", whose 2 bits hold 0 to 3: it never is "
              "present; correct the value or the multiplexor's length"});
  CHECK(signal_of(file, "P").is_multiplexor);
}

TEST_CASE("equal identifiers and names") {
  const DbcFile file = checked(
      "BO_ 2566844926 One: 8 X\nBO_ 2566844926 Two: 8 X\nBO_ 254 One: 8 X\n SG_ S : 0|8@1+ (1,0) [0|0] \"\" "
      "X\n"
      " SG_ S : 8|8@1+ (1,0) [0|0] \"\" X\n");
  CHECK(
      told(file) ==
      Lines{
          "t.dbc:2: error: Two: the identifier 0x18FEF1FE belongs to One already, in line 1; give one of "
          "them "
          "another identifier, or remove it; the later message is left out",
          "t.dbc:3: warning: One: the message 0x18FEF1FE in line 1 has the same name; give one of them "
          "another "
          "name",
          "t.dbc:5: error: One.S: the message has a signal of this name already, in line 4; give one of them "
          "another name; the signal is left out"});
  REQUIRE(file.messages.size() == 2);
  CHECK(file.messages[0].line == 1);
  REQUIRE(file.messages[1].signals.size() == 1);
  CHECK(file.messages[1].signals[0].start_bit == 0);
}

TEST_CASE("factors, floats, codes and ranges against the bits") {
  const DbcFile file = checked(
      "BO_ 1 A: 64 X\n SG_ Flat : 0|8@1+ (0,5) [0|0] \"\" X\n SG_ Half : 8|16@1- (1,0) [0|0] \"\" X\n"
      " SG_ Real : 32|32@1- (1,0) [0|1e9] \"\" X\n SG_ Code : 64|3@1+ (1,0) [0|0] \"\" X\n"
      " SG_ Sign : 72|8@1- (1,0) [0|0] \"\" X\n SG_ Wide : 80|8@1+ (0.5,-10) [-10|120] \"\" X\n"
      " SG_ Round : 88|16@1+ (0.125,0) [0|8191.9] \"\" X\n SG_ Down : 104|8@1- (-1,0) [-127|128] \"\" X\n"
      " SG_ All : 128|64@1+ (1,0) [0|18446744073709551615] \"\" X\n"
      "SIG_VALTYPE_ 1 Half : 1;\nSIG_VALTYPE_ 1 Real : 1;\nVAL_ 1 Code 7 \"a\" 8 \"b\" -1 \"c\";\n"
      "VAL_ 1 Sign -128 \"a\" 127 \"b\" 255 \"c\";\nVAL_ 1 Real 5 \"a\";\nVAL_ 1 All 9223372036854775807 "
      "\"a\";\n");
  CHECK(
      told(file) ==
      Lines{
          "t.dbc:2: error: A.Flat: the factor is 0, so every value would be the same; write the factor, 1 "
          "for "
          "none; the signal is left out",
          "t.dbc:3: error: A.Half: a float of 32 bits (SIG_VALTYPE_ 1) has a length of 16 bits; correct the "
          "length or the SIG_VALTYPE_; the signal is left out",
          "t.dbc:5: warning: A.Code: the code 8 of its VAL_ does not fit into 3 unsigned bits, which hold 0 "
          "to 7, "
          "nor do 1 more; correct the code, or the length or sign of the signal",
          "t.dbc:6: warning: A.Sign: the code 255 of its VAL_ does not fit into 8 signed bits, which hold "
          "-128 to "
          "127; correct the code, or the length or sign of the signal",
          "t.dbc:7: warning: A.Wide: the range [-10|120] is wider than its bits can reach: -10 to 117.5; "
          "correct "
          "the range, the length, the factor or the offset"});
  CHECK_FALSE(has_signal(file, "Flat"));
  CHECK_FALSE(has_signal(file, "Half"));
  CHECK(file.messages.at(0).signals.size() == 7);
}

TEST_CASE("a range beside what the bits can reach") {
  CHECK(told(checked("BO_ 1 A: 8 X\n SG_ S : 0|8@1+ (1,0) [300|400] \"\" X\n"
                     " SG_ T : 8|8@1- (0.5,0) [-100|-80] \"\" X\n")) ==
        Lines{"t.dbc:2: warning: A.S: the range [300|400] lies outside of what its bits can reach: 0 to 255; "
              "correct the range, the length, the factor or the offset",
              "t.dbc:3: warning: A.T: the range [-100|-80] lies outside of what its bits can reach: -64 to "
              "63.5; correct the range, the length, the factor or the offset"});
}
