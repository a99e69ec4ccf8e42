// CM_, VAL_, VAL_TABLE_, BA_ and the statements that are only passed.
#include <catch2/catch.hpp>

#include "unit/schema/dbc_texts.hpp"

using namespace tramlog;
using Of = AttributeDefinition::Of;

namespace {
const std::string kMessage =
    "BO_ 1 A: 8 X\n SG_ S : 0|8@1+ (1,0) [0|0] \"\" X\n SG_ T : 8|8@1- (1,0) [0|0] \"\" X\n";
}

TEST_CASE("comments go to what they speak about") {
  const DbcFile file =
      parsed(kMessage +
             "CM_ \"all\";\nCM_ BU_ X \"node\";\nCM_ BO_ 1 \"message\";\nCM_ SG_ 1 T \"tee\" ;\n"
             "CM_ SG_ 1 S\n  \"first line\n\n  third; line\";CM_ EV_ Env \"variable\";\n");
  CHECK(told(file) == Lines{});
  CHECK(file.comment == "all");
  CHECK(file.messages.at(0).comment == "message");
  CHECK(signal_of(file, "S").comment == "first line\n\n  third; line");
  CHECK(signal_of(file, "T").comment == "tee");
}

TEST_CASE("quotes and backslashes inside texts") {
  const DbcFile file = parsed(kMessage +
                              "CM_ SG_ 1 S \"says \\\"go\\\", then \\\\ or C:\\new\";\n"
                              "CM_ SG_ 1 T \"logs go to C:\\logs\\\";\n"
                              "CM_ BO_ 1 \"said \\\"stop\\\";\nand went\";\n"
                              "CM_ \"ends with \\\\\";\n");
  CHECK(told(file) == Lines{});
  CHECK(signal_of(file, "S").comment == "says \"go\", then \\ or C:\\new");
  CHECK(signal_of(file, "T").comment == "logs go to C:\\logs\\");
  CHECK(file.messages.at(0).comment == "said \"stop\";\nand went");
  CHECK(file.comment == "ends with \\");
}

TEST_CASE("UTF-8 and Latin-1 may stand in one file") {
  const DbcFile file = parsed(
      "BO_ 1 A: 8 X\n SG_ Temp : 0|8@1+ (1,0) [0|0] \"\xB0"
      "C\" X\n SG_ Winkel : 8|8@1+ (1,0) [0|0] \"\xC2\xB0\" X\n"
      " SG_ H\xF6he : 16|8@1+ (1,0) [0|0] \"m\xB2\" X\n"
      "CM_ SG_ 1 Temp \"\xC3\xB6l\";\nCM_ SG_ 1 H\xF6he \"\xFC"
      "ber Grund\";\nVAL_ 1 Winkel 0 \"s\xE4t nicht\" ;\n");
  CHECK(told(file) == Lines{});
  CHECK(signal_of(file, "Temp").unit == "\u00b0C");
  CHECK(signal_of(file, "Winkel").unit == "\u00b0");
  CHECK(signal_of(file, "H\u00f6he").unit == "m\u00b2");
  CHECK(signal_of(file, "H\u00f6he").comment == "\u00fcber Grund");
  CHECK(signal_of(file, "Temp").comment == "\u00f6l");
  CHECK(signal_of(file, "Winkel").codes.at(0).text == "s\u00e4t nicht");
}

TEST_CASE("names of codes, by table too") {
  const DbcFile file = parsed("VAL_TABLE_ OnOff 1 \"on\" 0 \"off\" ;\nVAL_TABLE_ Empty ;\n" + kMessage +
                              "VAL_ 1 S OnOff ;\nVAL_ 1 T -1 \"back\" 0 \"\" 1 \"for;th\"\n 2 \"x\";\n"
                              "VAL_ EnvVar 0 \"a\" 1 \"b\" ;\n");
  CHECK(told(file) == Lines{});
  const auto& s = signal_of(file, "S").codes;
  REQUIRE(s.size() == 2);
  CHECK((s[0].code == 1 && s[0].text == "on"));
  CHECK((s[1].code == 0 && s[1].text == "off"));
  const auto& t = signal_of(file, "T").codes;
  REQUIRE(t.size() == 4);
  CHECK((t[0].code == -1 && t[0].text == "back"));
  CHECK((t[2].code == 1 && t[2].text == "for;th"));
}

TEST_CASE("attributes with their definitions and defaults") {
  const DbcFile file =
      parsed(kMessage +
             "BA_DEF_  \"BusType\" STRING ;\nBA_DEF_ BO_  \"Cycle\" INT 0 3600000;\n"
             "BA_DEF_ BO_ \"Frame\" ENUM  \"StandardCAN\",\"ExtendedCAN\",\"reserved\",\"J1939PG\";\n"
             "BA_DEF_ SG_ \"Start\" FLOAT -1E3 1E3;\nBA_DEF_ SG_ \"Mask\" HEX 0x0 0xFF;\n"
             "BA_DEF_ SG_ \"Kind\" ENUM plain, \"odd one\" last;\nBA_DEF_ BU_ \"Nm\" INT 0 255;\n"
             "BA_DEF_DEF_  \"BusType\" \"\";\nBA_DEF_DEF_ \"Cycle\" 0;\nBA_DEF_DEF_ \"Frame\" \"J1939PG\";\n"
             "BA_DEF_DEF_ \"Kind\" plain;\n"
             "BA_ \"BusType\" \"CAN\";\nBA_ \"Cycle\" BO_ 1 100;\nBA_ \"Frame\" BO_ 1 1;\n"
             "BA_ \"Start\" SG_ 1 S -2.5;\nBA_ \"Mask\" SG_ 1 S 0x1F;\nBA_ \"Kind\" SG_ 1 S \"odd one\";\n"
             "BA_ \"Kind\" SG_ 1 T last;\nBA_ \"Nm\" BU_ X 7;\nBA_ \"Cycle\" BO_ 1 \"200\";\n");
  CHECK(told(file) == Lines{});
  REQUIRE(file.definitions.size() == 7);
  CHECK(file.definitions[2].choices == Lines{"StandardCAN", "ExtendedCAN", "reserved", "J1939PG"});
  CHECK(file.definitions[5].choices == Lines{"plain", "odd one", "last"});
  CHECK(file.definitions[5].of == Of::signal);
  CHECK(file.definitions[6].of == Of::node);
  const DbcMessage& message = file.messages.at(0);
  CHECK(file.attribute(file.attributes, Of::network, "BusType")->text == "CAN");
  CHECK(file.attribute(message.attributes, Of::message, "Cycle")->number == Decimal{2, 2});  // the later
  CHECK(file.attribute(message.attributes, Of::message, "Frame")->text == "ExtendedCAN");
  CHECK(file.attribute(message.attributes, Of::message, "Frame")->number == Decimal{1, 0});
  CHECK(file.attribute({}, Of::message, "Frame")->text == "J1939PG");
  CHECK(file.attribute({}, Of::message, "Frame")->number == Decimal{3, 0});
  CHECK(file.attribute({}, Of::signal, "Kind")->text == "plain");
  CHECK(file.attribute({}, Of::signal, "Start") == nullptr);
  CHECK(file.attribute({}, Of::message, "Kind") == nullptr);
  const auto& s = signal_of(file, "S").attributes;
  CHECK(file.attribute(s, Of::signal, "Start")->number == Decimal{-25, -1});
  CHECK(file.attribute(s, Of::signal, "Mask")->number == Decimal{31, 0});
  CHECK(file.attribute(s, Of::signal, "Kind")->text == "odd one");
  CHECK(file.attribute(s, Of::signal, "Kind")->number == Decimal{1, 0});
  CHECK(file.attribute(signal_of(file, "T").attributes, Of::signal, "Kind")->number == Decimal{2, 0});
}

TEST_CASE("attributes that do not fit their definition are told") {
  const DbcFile file =
      parsed(kMessage +
             "BA_DEF_ BO_ \"Frame\" ENUM \"a\",\"b\";\nBA_DEF_ BO_ \"Cycle\" INT 0 9;\n"
             "BA_ \"Frame\" BO_ 1 2;\nBA_ \"Frame\" BO_ 1 \"c\";\nBA_ \"Cycle\" BO_ 1 \"soon\";\n"
             "BA_ \"New\" BO_ 1 5;\nBA_ \"New\" BO_ 1 6;\nBA_DEF_DEF_ \"Gone\" 1;\n");
  CHECK(
      told(file) ==
      Lines{"t.dbc:6:19: warning: A: the attribute \"Frame\" has the value \"2\", which is none of its 2 "
            "choices; write a choice of its BA_DEF_ or its index, counted from 0",
            "t.dbc:7:19: warning: A: the attribute \"Frame\" has the value \"c\", which is none of its 2 "
            "choices; write a choice of its BA_DEF_ or its index, counted from 0",
            "t.dbc:8:19: warning: A: the attribute \"Cycle\" has the value \"soon\", but it is defined as a "
            "number; write a number",
            "t.dbc:9:17: warning: A: the attribute \"New\" is not defined before this line; define it with "
            "BA_DEF_; its values are taken as written",
            "t.dbc:11:20: warning: Gone: the file has no definition (BA_DEF_) of this attribute; define it, "
            "or remove its default"});
  CHECK(file.attribute(file.messages.at(0).attributes, Of::message, "New")->number == Decimal{6, 0});
}

TEST_CASE("statements of no use here are passed quietly") {
  const DbcFile file = parsed(
      "BU_: X\n" + kMessage +
      "BO_TX_BU_ 1 : X,Y;\nEV_ Env: 0 [0|1] \"\" 0 1 DUMMY_NODE_VECTOR0 Vector__XXX;\nENVVAR_DATA_ Env: 4;\n"
      "SGTYPE_ T1 : 8@1+ (1,0) [0|0] \"\" 0 , ;\nSIG_GROUP_ 1 Group 1 : S T;\n"
      "BA_DEF_REL_ BU_SG_REL_ \"Rel\" INT 0 9;\nBA_DEF_DEF_REL_ \"Rel\" 0;\n"
      "BA_REL_ \"Rel\" BU_SG_REL_ X SG_ 1 S 5;\nCAT_DEF_ 1 c 2;\n"
      "// a remark with \"half a quote\nCM_ SG_ 1 S \"kept\"; // and another\n");
  CHECK(told(file) == Lines{});
  CHECK(signal_of(file, "S").comment == "kept");
}

TEST_CASE("unknown keywords are told once, and skipped to the end of their statement") {
  const DbcFile file = parsed(
      "NEW_THING_ 1 \"a\" 2;\nNEW_THING_ 2;\nOTHER 5\n six\nBO_ 1 A: 8 X\n SG_ S : 0|8@1+ (1,0) [0|0] \"\" "
      "X\n");
  CHECK(told(file) ==
        Lines{"t.dbc:1:1: warning: \"NEW_THING_\" is no known keyword; correct it, or leave it: its "
              "statements are skipped",
              "t.dbc:3:1: warning: \"OTHER\" is no known keyword; correct it, or leave it: its "
              "statements are skipped"});
  CHECK(has_signal(file, "S"));
}

TEST_CASE("lookups by name hold in large messages and with equal identifiers") {
  std::string text = "BO_ 1 Large: 100 X\n";
  for (int i = 0; i < 100; ++i)
    text += " SG_ Part" + std::to_string(i) + " : " + std::to_string(8 * i) + "|8@1+ (1,0) [0|0] \"\" X\n";
  text +=
      "BO_ 2 First: 8 X\n SG_ One : 0|8@1+ (1,0) [0|0] \"\" X\n"
      "BO_ 2 Second: 8 X\n SG_ Two : 0|8@1+ (1,0) [0|0] \"\" X\n";
  for (int i = 99; i >= 0; i -= 3)
    text += "CM_ SG_ 1 Part" + std::to_string(i) + " \"c" + std::to_string(i) + "\";\n";
  text += "CM_ SG_ 2 Two \"two\";\nCM_ SG_ 2 One \"one\";\nCM_ SG_ 1 Part2 \"again\";\n";
  const DbcFile file = parsed(text);
  CHECK(told(file) == Lines{});
  for (int i = 0; i < 100; ++i) {
    const bool commented = i % 3 == 0;
    CHECK(file.messages.at(0).signals.at(static_cast<std::size_t>(i)).comment ==
          (i == 2      ? "again"
           : commented ? "c" + std::to_string(i)
                       : ""));
  }
  CHECK(file.messages.at(1).signals.at(0).comment == "one");
  CHECK(file.messages.at(2).signals.at(0).comment == "two");
}
