// A small schema of our own and hands to feed it, for the tests of what is told to people.
#pragma once

#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "decode/teller.hpp"
#include "schema/schema.hpp"

namespace tramlog::test {

inline constexpr std::string_view kDbc = R"(VERSION ""
BU_: Tractor Implement
BO_ 2365475070 WheelSpeed: 8 Tractor
 SG_ Speed : 0|16@1+ (0.001,0) [0|64.255] "m/s" Anybody
 SG_ Distance : 16|32@1+ (0.001,0) [0|4211081.215] "m" Anybody
 SG_ Direction : 56|2@1+ (1,0) [0|3] "" Anybody
 SG_ KeySwitch : 58|2@1+ (1,0) [0|3] "" Anybody
BO_ 2566846462 Power: 8 Tractor
 SG_ Battery : 32|16@1+ (0.05,0) [0|100] "V" Anybody
 SG_ Current : 0|8@1+ (1,-125) [-125|125] "A" Anybody
BO_ 291 Chosen: 4 Anybody
 SG_ Which M : 0|8@1+ (1,0) [0|0] "" Anybody
 SG_ Warm m1 : 15|16@0- (0.5,-10) [0|0] "degC" Anybody
 SG_ Cold m2 : 8|8@1+ (1,0) [0|0] "" Anybody
BO_ 2566867966 Lift: 8 Implement
 SG_ LiftCommand : 0|2@1+ (1,0) [0|3] "" Anybody
 SG_ FloatCommand : 2|2@1+ (1,0) [0|3] "" Anybody
BO_ 2566842110 Clock: 8 Tractor
 SG_ ClockMinutes : 8|8@1+ (1,0) [0|59] "min" Anybody
BA_DEF_ SG_ "Purpose" STRING ;
BA_DEF_ SG_ "SPN" INT 0 524287;
BA_DEF_DEF_ "Purpose" "";
BA_DEF_DEF_ "SPN" 0;
BA_ "SPN" SG_ 2365475070 Speed 1862;
BA_ "Purpose" SG_ 2566867966 LiftCommand "command";
BA_ "Purpose" SG_ 2566867966 FloatCommand "command";
CM_ BO_ 2365475070 "Speed of the wheels. Every 100 ms.";
CM_ SG_ 2365475070 Speed "Wheel-based speed. Slips.";
VAL_ 2365475070 Direction 0 "reverse" 1 "forward" 2 "error" 3 "not available" ;
VAL_ 2365475070 KeySwitch 0 "off" 1 "not off" 2 "error" 3 "not available" ;
)";

inline Schema small_schema() {
  Schema schema;
  DbcFile file = parse_dbc(kDbc, "test.dbc");
  check_dbc(file);
  schema.add(std::move(file));
  schema.add(
      parse_dictionary("ddi,name,unit,resolution,sign\n"
                       "6,Setpoint Mass Per Area Application Rate,mg/m2,1,\n"
                       "11,Setpoint Count Per Area Application Rate,#/m2,0.001,\n"
                       "67,Actual Working Width,mm,1,\n"
                       "141,Actual Work State,,1,\n"
                       "161,Actual Condensed Work State (1-16),,1,unsigned\n",
                       "test.csv"));
  schema.add(
      parse_trouble_texts("kind,number,text\nspn,168,\"battery potential, input 1\"\n"
                          "fmi,4,voltage below normal\nfmi,31,condition exists\n"
                          "fmi,9,abnormal update rate\n",
                          "codes.csv"));
  return schema;
}

using Data = std::vector<std::uint8_t>;

/// All remarks as "name: text" lines.
inline std::string told(const Schema& schema, Pgn pgn, const Data& data, Address source = 0x83,
                        Address destination = kGlobalAddress) {
  Message message;
  message.pgn = pgn;
  message.source = source;
  message.destination = destination;
  message.data = data;
  std::vector<Remark> remarks;
  const Teller* teller = find_teller(pgn);
  if (!teller) return "nobody tells";
  teller->tell(message, schema, remarks);
  std::string text;
  for (const Remark& remark : remarks) text += remark.name + ": " + remark.text + "\n";
  return text;
}

}  // namespace tramlog::test
