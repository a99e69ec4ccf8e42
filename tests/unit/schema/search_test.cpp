// Looking things up in the schema.
#include "schema/search.hpp"

#include <catch2/catch.hpp>

namespace tramlog {
namespace {

Schema small_schema() {
  Schema schema;
  DbcFile file = parse_dbc(
      "BO_ 2566842366 DrillState: 8 Drill\n"  // 0x98FEE7FE: PGN 0xFEE7
      " SG_ HopperLevel : 0|8@1+ (0.4,0) [0|100] \"%\" Anybody\n"
      " SG_ FanState : 8|2@1+ (1,0) [0|3] \"\" Anybody\n"
      "BO_ 2566856958 FanSpeed: 8 Drill\n"  // 0x98FF20FE: PGN 0xFF20
      " SG_ Speed : 0|16@1+ (0.125,0) [0|8031.875] \"rpm\" Anybody\n"
      "BA_DEF_ SG_ \"SPN\" INT 0 524287;\n"
      "BA_DEF_DEF_ \"SPN\" 0;\n"
      "BA_ \"SPN\" SG_ 2566856958 Speed 1640;\n"
      "CM_ BO_ 2566842366 \"State of the drill. Hopper and blower.\";\n"
      "VAL_ 2566842366 FanState 0 \"standing\" 1 \"turning\";\n",
      "drill.dbc");
  check_dbc(file);
  REQUIRE(file.problems.empty());
  schema.add(std::move(file));
  schema.add(parse_dictionary("ddi,name,unit,resolution\n7,Actual Mass Per Area Application Rate,mg/m2,1\n",
                              "pd.csv"));
  schema.add(parse_trouble_texts("kind,number,text\nspn,168,battery potential\nfmi,4,voltage below normal\n",
                                 "tc.csv"));
  return schema;
}

SchemaHits hits(const Schema& schema, std::vector<std::string> terms) {
  auto found = search_schema(schema, terms);
  REQUIRE(found.ok());
  return *found;
}

}  // namespace

TEST_CASE("a word finds messages by title and signals by name and code text, whatever the case") {
  const Schema schema = small_schema();
  const SchemaHits drill = hits(schema, {"DRILL"});
  REQUIRE(drill.messages.size() == 1);
  CHECK(drill.messages[0].whole);
  CHECK(drill.messages[0].message->name == "DrillState");
  const SchemaHits turning = hits(schema, {"turning"});
  REQUIRE(turning.messages.size() == 1);
  CHECK_FALSE(turning.messages[0].whole);
  REQUIRE(turning.messages[0].signals.size() == 1);
  CHECK(turning.messages[0].signals[0]->name == "FanState");
  // one word is the message's, the other the signal's
  const SchemaHits both = hits(schema, {"state", "hopper", "level"});
  REQUIRE(both.messages.size() == 1);
  CHECK(both.messages[0].signals.size() == 1);
  CHECK(hits(schema, {"hopper", "rate"}).empty());
}

TEST_CASE("numbers mean PGN, SPN or DDI; a prefix says which") {
  const Schema schema = small_schema();
  const SchemaHits pgn = hits(schema, {"0xFF20"});
  REQUIRE(pgn.messages.size() == 1);
  CHECK(pgn.messages[0].whole);
  const SchemaHits spn = hits(schema, {"1640"});
  REQUIRE(spn.messages.size() == 1);
  CHECK(spn.messages[0].signals.size() == 1);
  CHECK(hits(schema, {"168"}).spns.size() == 1);
  CHECK(hits(schema, {"ddi:7"}).process_data.size() == 1);
  CHECK(hits(schema, {"pgn:7"}).empty());
  CHECK(hits(schema, {"fmi:4"}).fmis.size() == 1);
  CHECK(hits(schema, {"4"}).empty());
  CHECK_FALSE(search_schema(schema, {"spn:600000"}).ok());
  CHECK_FALSE(search_schema(schema, {"ddi:seven"}).ok());
}

TEST_CASE("a full message name means that message only") {
  const Schema schema = small_schema();
  const SchemaHits named = hits(schema, {"fanspeed"});
  REQUIRE(named.messages.size() == 1);
  CHECK(named.messages[0].message->name == "FanSpeed");
}

TEST_CASE("misspelt names bring the near ones, nearest first") {
  const std::vector<std::string> names = {"WheelBasedSpeed", "GroundBasedSpeed", "EngineSpeed", "FuelLevel1"};
  CHECK(close_names("WheelBaseSpeed", names) == std::vector<std::string>{"WheelBasedSpeed"});
  CHECK(close_names("enginespeed", names).front() == "EngineSpeed");
  CHECK(close_names("fuel", names) == std::vector<std::string>{"FuelLevel1"});
  CHECK(close_names("qqqqqqqq", names).empty());
  CHECK(close_names("", names).empty());
}

}  // namespace tramlog
