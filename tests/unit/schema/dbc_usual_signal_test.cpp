// Lines of the usual form go another way through the parser than all others: both must lead to the same
// signal.
#include <catch2/catch.hpp>

#include "unit/schema/dbc_texts.hpp"

using namespace tramlog;

namespace {

DbcSignal read_line(const std::string& form) {
  const DbcFile file = parsed("BO_ 100 A: 8 X\n SG_ S " + form + "\n");
  REQUIRE(told(file) == Lines{});
  return signal_of(file, "S");
}

}  // namespace

TEST_CASE("a signal in the usual form is read as written") {
  const DbcSignal signal = read_line(": 24|16@0- (0.125,-100) [-100|7931.875] \"km/h\" X");
  CHECK(signal.start_bit == 24);
  CHECK(signal.bit_length == 16);
  CHECK(signal.order == ByteOrder::big);
  CHECK(signal.encoding == Encoding::signed_integer);
  CHECK(signal.factor == Decimal{125, -3});
  CHECK(signal.offset == Decimal{-1, 2});
  CHECK(signal.minimum == Decimal{-1, 2});
  CHECK(signal.maximum == Decimal{7931875, -3});
  CHECK(signal.unit == "km/h");
  CHECK_FALSE(read_line(": 0|8@1+ (1,0) [0|0] \"\" X").maximum);
  CHECK(read_line("m3 : 0|8@1+ (1,0) [0|9] \"%\" X").multiplex_code == 3u);
}

TEST_CASE("blanks and other ways to write numbers make no difference") {
  const DbcSignal usual = read_line(": 8|16@1+ (0.5,-40) [-40|210] \"C\" X");
  const std::string same[] = {
      ":8|16@1+(0.5,-40)[-40|210]\"C\"X",
      ": 8 | 16 @ 1 + ( 0.5 , -40 ) [ -40 | 210 ] \"C\" X",
      ":\t8|16@1+\t(0.5,-40)\t[-40|210]\t\"C\"\tX",
      ": 0x8|0x10@1+ (5E-1,-4e1) [-40.0|2.1e2] \"C\" X",
      ": 8|16@1+ (0.500000000000000000,-40.) [-0000000000000000000040|+210] \"C\" X",
      ": 08|016@1+ (.5,-40)\n [-40|210]\n \"C\" X",
  };
  for (const std::string& form : same) {
    INFO(form);
    const DbcSignal signal = read_line(form);
    CHECK(signal.start_bit == usual.start_bit);
    CHECK(signal.bit_length == usual.bit_length);
    CHECK(signal.order == usual.order);
    CHECK(signal.encoding == usual.encoding);
    CHECK(signal.factor == usual.factor);
    CHECK(signal.offset == usual.offset);
    CHECK(signal.minimum == usual.minimum);
    CHECK(signal.maximum == usual.maximum);
    CHECK(signal.unit == usual.unit);
  }
  CHECK(read_line(": 0|8@1+ (1,0) [0|9] \"\xB0\x43\" X").unit == "\xC2\xB0\x43");  // Latin-1
  CHECK(read_line(": 0|8@1+ (1,0) [0|9] \"a\\\"b\" X").unit == "a\"b");
}

TEST_CASE("mistakes in a line of the usual form are told at their place") {
  const auto line = [](const std::string& form) {
    return told(parsed("BO_ 100 A: 8 X\n SG_ S : " + form + "\n SG_ T : 8|8@1+ (1,0) [0|9] \"\" X\n"));
  };
  for (const char* form :
       {"0|65@1+ (1,0) [0|9] \"\" X", "0|0@1+ (1,0) [0|9] \"\" X", "0|8@1+ (1,0) [9|0] \"\" X",
        "0|8@1+5 (1,0) [0|9] \"\" X", "4294967296|8@1+ (1,0) [0|9] \"\" X", "0|8@2+ (1,0) [0|9] \"\" X"}) {
    INFO(form);
    const Lines lines = line(form);
    REQUIRE(lines.size() == 1);
    CHECK(lines[0].find("t.dbc:2:") != std::string::npos);
  }
}
