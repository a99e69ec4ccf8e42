// BO_, SG_, SG_MUL_VAL_, SIG_VALTYPE_ as people write them.
#include <catch2/catch.hpp>

#include "unit/schema/dbc_texts.hpp"

using namespace tramlog;

TEST_CASE("a message and its signals are read whole") {
  const DbcFile file = parsed(
      "VERSION \"2.1\"\n\n\nNS_ : "
      "\n\tNS_DESC_\n\tCM_\n\tBA_DEF_\n\tBA_\n\tVAL_\n\tBO_TX_BU_\n\tSG_MUL_VAL_\n\nBS_:\n\n"
      "BU_: Tractor Drill\n\n\n"
      "BO_ 2566785790 GroundSpeed: 8 Tractor\n"
      " SG_ Distance : 16|32@1+ (0.001,0) [0|4211081.215] \"m\"  Drill,Sprayer\n"
      " SG_ Heading : 7|16@0- (0.0078125,-200) [-200|301.9921875] \"deg\" Vector__XXX\n\n"
      "BO_ 291 Lamp: 1 Vector__XXX\n"
      " SG_ On : 0|1@1+ (1,0) [0|0] \"\" Drill\n");
  CHECK(told(file) == Lines{});
  CHECK(file.name == "t.dbc");
  CHECK(file.version == "2.1");
  REQUIRE(file.messages.size() == 2);
  const DbcMessage& speed = file.messages[0];
  CHECK(speed.id == 2566785790u - 2147483648u);
  CHECK(speed.extended);
  CHECK(speed.name == "GroundSpeed");
  CHECK(speed.length == 8);
  CHECK(speed.sender == "Tractor");
  CHECK(speed.line == 18);
  REQUIRE(speed.signals.size() == 2);
  const DbcSignal& distance = speed.signals[0];
  CHECK(distance.name == "Distance");
  CHECK(distance.start_bit == 16);
  CHECK(distance.bit_length == 32);
  CHECK(distance.order == ByteOrder::little);
  CHECK(distance.encoding == Encoding::unsigned_integer);
  CHECK(distance.factor == Decimal{1, -3});
  CHECK(distance.offset == Decimal{0, 0});
  CHECK(distance.minimum == Decimal{0, 0});
  CHECK(distance.maximum == Decimal{4211081215, -3});
  CHECK(distance.unit == "m");
  CHECK(distance.line == 19);
  const DbcSignal& heading = speed.signals[1];
  CHECK(heading.start_bit == 7);
  CHECK(heading.order == ByteOrder::big);
  CHECK(heading.encoding == Encoding::signed_integer);
  CHECK(heading.factor == Decimal{78125, -7});
  CHECK(heading.offset == Decimal{-2, 2});
  CHECK(heading.minimum == Decimal{-2, 2});
  CHECK_FALSE(file.messages[1].extended);
  CHECK(file.messages[1].id == 291);
  CHECK(file.messages[1].sender.empty());
  CHECK_FALSE(file.messages[1].signals[0].minimum);
  CHECK_FALSE(file.messages[1].signals[0].maximum);
}

TEST_CASE("blanks may be missing, too many, or tabs and line ends") {
  const DbcFile file = parsed(
      "BU_:A\nBO_\t2566785790\tOne:8\tA\n"
      "SG_ Tight:0|8@1+(0.5,-10)[0|100]\"%\"A\n"
      "\tSG_\tWide\t:\t8 | 8 @ 1 -\t( 2 , 0 )\t[ 0 | 0 ]\t\"\"\tA , B,\n    C\n"
      "SG_ Broken\n   : 16|8@1+\n (1,0) [0|0] \"\" B\n"
      "   BO_ 5 Two  :  2\n"
      "SG_ Last m1 :0|8@0+ (1,0) [0|0] \"\";\n");
  CHECK(told(file) == Lines{});
  CHECK(signal_of(file, "Tight").factor == Decimal{5, -1});
  CHECK(signal_of(file, "Tight").offset == Decimal{-1, 1});
  CHECK(signal_of(file, "Tight").maximum == Decimal{1, 2});
  CHECK(signal_of(file, "Tight").unit == "%");
  CHECK(signal_of(file, "Wide").start_bit == 8);
  CHECK(signal_of(file, "Wide").encoding == Encoding::signed_integer);
  CHECK(signal_of(file, "Wide").factor == Decimal{2, 0});
  CHECK(signal_of(file, "Broken").start_bit == 16);
  REQUIRE(file.messages.size() == 2);
  CHECK(file.messages[1].sender.empty());
  CHECK(signal_of(file, "Last").multiplex_code == 1u);
}

TEST_CASE("line ends of every kind count once") {
  for (const std::string end : {"\n", "\r\n", "\r"}) {
    const DbcFile file = parsed("\xEF\xBB\xBFVERSION \"\"" + end + end + "BO_ 1 A: 8 X" + end +
                                " SG_ S : 0|8@1+ (1,0) [0|0] \"a\" X" + end + "CM_ SG_ 1 S \"one" + end +
                                "two\";" + end + "CM_ \"x\" y;" + end);
    CHECK(file.messages.at(0).line == 3);
    CHECK(signal_of(file, "S").line == 4);
    CHECK(signal_of(file, "S").comment == "one\ntwo");
    CHECK(told(file) == Lines{"t.dbc:7:9: warning: \"y\" stands where ';' is expected; write it as CM_ SG_ "
                              "2566853886 Signal \"text\";"});
  }
}

TEST_CASE("numbers come in many forms") {
  const DbcFile file = parsed(
      "BO_ 0x123 A: +8 X\n"
      " SG_ Tiny : 0|8@1+ (1E-07,+3) [-1.5e+2|2.50E2] \"\" X\n"
      " SG_ Point : +8|8@1+ (.5,-.25) [0.|+1.] \"\" X\n"
      " SG_ Hex : 0x10|8@1+ (1,0) [0x0|0xFF] \"\" X\n"
      " SG_ Huge : 24|8@1+ (1,0) [-3.402823E+038|1.797e+308] \"\" X\n"
      "VAL_ 291 Tiny 0x1F \"a\" +2 \"b\" -1 \"c\" 3.0 \"d\" ;\n");
  CHECK(file.messages.at(0).id == 0x123);
  CHECK(file.messages[0].length == 8);
  CHECK(signal_of(file, "Tiny").factor == Decimal{1, -7});
  CHECK(signal_of(file, "Tiny").offset == Decimal{3, 0});
  CHECK(signal_of(file, "Tiny").minimum == Decimal{-15, 1});
  CHECK(signal_of(file, "Tiny").maximum == Decimal{25, 1});
  CHECK(signal_of(file, "Point").factor == Decimal{5, -1});
  CHECK(signal_of(file, "Point").offset == Decimal{-25, -2});
  CHECK(signal_of(file, "Point").maximum == Decimal{1, 0});
  CHECK(signal_of(file, "Hex").start_bit == 16);
  CHECK(signal_of(file, "Hex").maximum == Decimal{255, 0});
  CHECK_FALSE(signal_of(file, "Huge").minimum);
  const auto& codes = signal_of(file, "Tiny").codes;
  REQUIRE(codes.size() == 4);
  CHECK(codes[0].code == 31);
  CHECK(codes[1].code == 2);
  CHECK(codes[2].code == -1);
  CHECK(codes[2].text == "c");
  CHECK(codes[3].code == 3);
  CHECK(told(file) ==
        Lines{"t.dbc:5:43: warning: A.Huge: \"1.797e+308\" stands where the maximum is expected; "
              "write it as [0|255], or [0|0] for none; the signal is used without a range"});
}

TEST_CASE("multiplexing, plain and extended") {
  const DbcFile file = parsed(
      "BO_ 100 A: 8 X\n"
      " SG_ Page M : 0|8@1+ (1,0) [0|0] \"\" X\n"
      " SG_ Part m1M: 8|8@1+ (1,0) [0|0] \"\" X\n"
      " SG_ Deep m2 : 16|8@1+ (1,0) [0|0] \"\" X\n"
      " SG_ Flat m12: 16|8@1+ (1,0) [0|0] \"\" X\n"
      "SG_MUL_VAL_ 100 Part Page 1-1;\n"
      "SG_MUL_VAL_ 100 Deep Part 2-4, 8 - 8,10,4294967296-18446744073709551615;\n");
  CHECK(told(file) == Lines{});
  CHECK(signal_of(file, "Page").is_multiplexor);
  CHECK_FALSE(signal_of(file, "Page").multiplex_code);
  CHECK(signal_of(file, "Part").is_multiplexor);
  CHECK(signal_of(file, "Part").multiplexor == "Page");
  CHECK_FALSE(signal_of(file, "Deep").is_multiplexor);
  CHECK(signal_of(file, "Deep").multiplexor == "Part");
  CHECK_FALSE(signal_of(file, "Deep").multiplex_code);
  const auto& ranges = signal_of(file, "Deep").multiplex_ranges;
  REQUIRE(ranges.size() == 4);
  CHECK((ranges[0].first == 2 && ranges[0].last == 4));
  CHECK((ranges[1].first == 8 && ranges[1].last == 8));
  CHECK((ranges[2].first == 10 && ranges[2].last == 10));
  CHECK((ranges[3].first == 4294967296u && ranges[3].last == UINT64_MAX));
  CHECK(signal_of(file, "Flat").multiplex_code == 12u);
  CHECK(signal_of(file, "Flat").multiplexor.empty());
}

TEST_CASE("floats, with and without a colon") {
  const DbcFile file = parsed(
      "BO_ 1 A: 16 X\n SG_ F : 0|32@1- (1,0) [0|0] \"\" X\n SG_ D : 64|64@1- (1,0) [0|0] \"\" X\n"
      " SG_ I : 32|32@1- (1,0) [0|0] \"\" X\n"
      "SIG_VALTYPE_ 1 F : 1;\nSIG_VALTYPE_ 1 D 2;\nSIG_VALTYPE_ 1 I:0;\n");
  CHECK(told(file) == Lines{});
  CHECK(signal_of(file, "F").encoding == Encoding::float32);
  CHECK(signal_of(file, "D").encoding == Encoding::float64);
  CHECK(signal_of(file, "I").encoding == Encoding::signed_integer);
}

TEST_CASE("a forgotten flag of 29-bit identifiers is put right") {
  const DbcFile file = parsed(
      "BO_ 419361278 A: 8 X\n SG_ S : 0|8@1+ (1,0) [0|0] \"\" X\n"
      "CM_ BO_ 419361278 \"as written\";\nCM_ SG_ 2566844926 S \"with the flag\";\n");
  CHECK(
      told(file) ==
      Lines{"t.dbc:1:5: warning: A: the identifier 419361278 has more than 11 bits, but bit 31, which marks "
            "29-bit identifiers, is not set; it is taken as a 29-bit identifier; write 2566844926"});
  CHECK(file.messages.at(0).extended);
  CHECK(file.messages[0].id == 419361278);
  CHECK(file.messages[0].comment == "as written");
  CHECK(signal_of(file, "S").comment == "with the flag");
}

TEST_CASE("the placeholder's message and nodes go quietly") {
  const DbcFile file = checked(
      "BO_ 3221225472 VECTOR__INDEPENDENT_SIG_MSG: 0 Vector__XXX\n"
      " SG_ Spare : 0|8@1+ (1,0) [0|0] \"\" Vector__XXX\n"
      "BO_ 1 A: 8 Vector__XXX\n SG_ S : 0|8@1+ (1,0) [0|0] \"\" Vector__XXX\n"
      "CM_ SG_ 3221225472 Spare \"none\";\nBA_ \"X\" BO_ 3221225472 1;\nVAL_ 3221225472 Spare 1 \"a\";\n");
  CHECK(told(file) == Lines{});
  REQUIRE(file.messages.size() == 1);
  CHECK(file.messages[0].name == "A");
  CHECK(file.messages[0].signals.size() == 1);
}

TEST_CASE("messages may be longer than a frame, up to the largest transfer") {
  const DbcFile file = checked(
      "BO_ 2566844926 Pool: 1785 X\n SG_ S : 14272|8@1+ (1,0) [0|0] \"\" X\n"
      "BO_ 2566845182 Most: 117440505 X\n BO_ 2566845438 More: 117440506 X\n");
  CHECK(told(file) ==
        Lines{"t.dbc:4:23: error: More: the length is 117440506 bytes, no message has more than "
              "117440505; correct the length; the longest possible is taken"});
  CHECK(signal_of(file, "S").start_bit == 14272);
  CHECK(file.messages.at(1).length == 117440505);
  CHECK(file.messages.at(2).length == 117440505);
}
