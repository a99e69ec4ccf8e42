// Words for trouble codes out of dbc/.
#include <catch2/catch.hpp>

#include "schema/schema.hpp"

namespace tramlog {

TEST_CASE("failure modes in the trade's words, reserved ones by number") {
  const Schema& schema = Schema::built_in();
  CHECK(schema.fmi_text(0) == "value too high, most severe level");
  CHECK(schema.fmi_text(9) == "abnormal update rate (message missing or late)");
  CHECK(schema.fmi_text(11) == "root cause not known");
  CHECK(schema.fmi_text(19) == "received network data in error");
  CHECK(schema.fmi_text(21) == "data drifted low");
  CHECK(schema.fmi_text(22) == "reserved (FMI 22)");
  CHECK(schema.fmi_text(30) == "reserved (FMI 30)");
  CHECK(schema.fmi_text(31) == "condition exists");
}

TEST_CASE("suspect parameters: the list, controllers by address, else the title of the signal") {
  const Schema& schema = Schema::built_in();
  CHECK(schema.spn_text(168) == "battery potential, input 1");
  CHECK(schema.spn_text(6714) == "ECU hardware version");
  CHECK(schema.spn_text(2000) == "control function at source address 0");
  CHECK(schema.spn_text(2128) == "control function at source address 128");
  CHECK(schema.spn_text(2255) == "control function at source address 255");
  CHECK(schema.spn_text(1862) == "wheel-based speed");
  CHECK(schema.spn_text(110) == "engine coolant temperature");
  CHECK_FALSE(schema.spn_text(1999).has_value());
  CHECK_FALSE(schema.spn_text(2256).has_value());
  CHECK_FALSE(schema.spn_text(520200).has_value());
}

TEST_CASE("a user's own texts come on top") {
  Schema schema = Schema::with_built_in();
  schema.add(parse_trouble_texts("kind,number,text\nspn,520200,meter motor front\n", "drill.csv"));
  CHECK(schema.spn_text(520200) == "meter motor front");
  CHECK(schema.spn_text(190) == "engine speed");
}

TEST_CASE("texts in Latin-1 become UTF-8, those in UTF-8 stay") {
  const TroubleTexts texts =
      parse_trouble_texts("kind,number,text\nspn,1,S\xE4rad\nspn,2,S\xC3\xA4rad\n", "drill.csv");
  CHECK(texts.spn.at(1) == "S\xC3\xA4rad");
  CHECK(texts.spn.at(2) == "S\xC3\xA4rad");
}

}  // namespace tramlog
