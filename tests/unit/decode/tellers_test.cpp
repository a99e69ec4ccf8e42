// What tellers say, on bytes that were put together by hand.
#include <algorithm>
#include <catch2/catch.hpp>

#include "unit/decode/story_bench.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {
const Schema kSchema = small_schema();
std::string told(Pgn pgn, const Data& data, Address source = 0x83) {
  return test::told(kSchema, pgn, data, source);
}
constexpr Pgn kProcess = 0xCB00;
}  // namespace

TEST_CASE("a request names what it wants") {
  CHECK(told(0xEA00, {0x48, 0xFE, 0x00}) == "asks for: WheelSpeed, PGN 65096 (0xFE48)\n");
  CHECK(told(0xEA00, {0x00, 0xEE, 0x00}) == "asks for: address claim, PGN 60928 (0xEE00)\n");
  CHECK(told(0xEA00, {0x78, 0xFF, 0x00}) == "asks for: PGN 65400 (0xFF78)\n");
  CHECK(told(0xEA00, {0x78, 0xFF}) == "too short: 2 bytes where 3 are needed\n");
  CHECK(told(0xEA00, {0x00, 0x00, 0x80}) == "asks for: a number of more than 18 bits, which is no PGN\n");
}

TEST_CASE("repetition rates") {
  CHECK(told(0xCC00, {0xE4, 0xF0, 0x00, 100, 0, 0xFF, 0xFF, 0xFF}) ==
        "asks for: PGN 61668 (0xF0E4): every 100 ms\n");
  CHECK(told(0xFE0E, {0x48, 0xFE, 0x00, 0, 0}) == "sends: WheelSpeed, PGN 65096 (0xFE48): its usual pace\n");
  CHECK(told(0xCC00, {0x48, 0xFE, 0x00, 0xFF, 0xFF}) ==
        "asks for: WheelSpeed, PGN 65096 (0xFE48): no pace given\n");
}

TEST_CASE("an acknowledgement says of what and to whom") {
  CHECK(told(0xE800, {1, 0xFF, 0xFF, 0xFF, 0x26, 0xDA, 0xFE, 0x00}) ==
        "answer: not supported: software identification, PGN 65242 (0xFEDA), asked for by 38 (0x26)\n");
  CHECK(told(0xE800, {0, 0x02, 0xFF, 0xFF, 0xFF, 0x00, 0xCB, 0x00}) ==
        "answer: acknowledged: PGN 51968 (0xCB00), group function 2\n");
  CHECK(told(0xE800, {1, 2, 3}) == "too short: 3 bytes where 8 are needed\n");
}

TEST_CASE("an address claim is taken apart") {
  // Fact sheet 2.1: self-configurable, group 2, class 6, function 128, manufacturer 1000, identity 0x12345.
  const Data claim{0x45, 0x23, 0x01, 0x7D, 0x00, 0x80, 0x0C, 0xA0};
  CHECK(told(0xEE00, claim) ==
        "claims: address 131 (0x83), can choose another one itself\n"
        "is: rate control 0 of sprayers 0, agriculture and forestry; manufacturer code 1000, identity number "
        "74565, "
        "ECU instance 0; NAME a00c80007d012345\n");
  CHECK(told(0xEE00, claim, 0xFE).substr(0, 36) == "claims: no address: cannot claim one");
  CHECK(told(0xEE00, {1, 2}) == "too short: 2 bytes where 8 are needed\n");
  Data command = claim;
  command.push_back(0x90);
  CHECK(told(0xFED8, command).substr(0, 58) == "commands: address 144 (0x90)\nto whom: rate control 0 of sp");
}

TEST_CASE("trouble codes with lamps") {
  // Amber on (0x04), malfunction off, stop off, protect not available (3); amber flashes fast (0x04 = 01 in
  // bits 3-4).
  CHECK(told(0xFECA, {0x07, 0xF7, 0xA8, 0x00, 0x04, 0x03, 0xFF, 0xFF}) ==
        "lamps: amber warning lamp on, fast flash\n"
        "active: SPN 168 FMI 4: battery potential, input 1, voltage below normal; 3 times\n");
  CHECK(told(0xFECB, {0xFF, 0xFF, 0x08, 0xF0, 0xE9, 0x01, 0x50, 0x08, 0x1F, 0x81}) ==
        "previously active: SPN 520200 FMI 9: proprietary to the manufacturer, abnormal update rate; 1 time\n"
        "previously active: SPN 2128 FMI 31: control function at source address 128, condition exists; 1 "
        "time; the SPN "
        "may be encoded in an older way\n");
  CHECK(told(0xFECA, {0xFF, 0xFF, 0, 0, 0, 0, 0xFF, 0xFF}) == "active: no trouble code\n");
  CHECK(told(0xFECA, {0xFF, 0xFF, 1}) == "malformed: the list of trouble codes is torn off\n");
  CHECK(told(0xFECA, {}) == "malformed: the list of trouble codes is torn off\n");
}

TEST_CASE("long lists end with what is left out") {
  Data data{0xFF, 0xFF};
  for (unsigned i = 0; i < 70; ++i)
    for (const std::uint8_t byte : Data{0xA8, 0x00, 0x04, 0x01}) data.push_back(byte);
  const std::string text = told(0xFECA, data);
  CHECK(std::count(text.begin(), text.end(), '\n') == 65);
  CHECK(text.ends_with("\nactive: and 6 more trouble codes\n"));
}

TEST_CASE("clearing one trouble code") {
  CHECK(told(0xC300, {0x01, 0xFF, 0xFF, 0xFF, 0xFF, 0xA8, 0x00, 0x04}) ==
        "asks to clear the previously active code: SPN 168 FMI 4: battery potential, input 1, voltage below "
        "normal\n");
  CHECK(told(0xC300, {0x13, 0x04, 0xFF, 0xFF, 0xFF, 0xA8, 0x00, 0x04}) ==
        "did not clear the active code: SPN 168 FMI 4: battery potential, input 1, voltage below normal; the "
        "code is no "
        "longer active\n");
  CHECK(told(0xC300, {0x44, 0, 0xFF, 0xFF, 0xFF, 0, 0, 0}) == "control byte: 68, not known\n");
}

TEST_CASE("identification texts, made safe") {
  CHECK(told(0xFEDA, {0x01, '1', '.', '4', '.', '0', '*', 0xFF}) == "software 1: \"1.4.0\"\n");
  CHECK(told(0xFEDA, {0x02, 'A', 0x1B, 'B', '*', 0xFF, 0xFF, 0xFF}) ==
        "software 1: \"A\\x1bB\"\ncount: 2 texts are announced, 1 are there\n");
  CHECK(told(0xFDC5, {'P', '1', '*', 'S', '2', '*', '*', 'T', '*', 0xE9, '*'}) ==
        "part number: \"P1\"\nserial number: \"S2\"\ntype: \"T\"\nmanufacturer: \"\u00e9\"\n");
  CHECK(told(0xFC8D, {'C', '*', 'B', '*', 'M', '*', 0xFF, 0xFF}) ==
        "product code: \"C\"\nbrand: \"B\"\nmodel: \"M\"\n");
  CHECK(told(0xFEEB, {'*', '*', '7', '*', 0xFF, 0xFF, 0xFF, 0xFF}) == "serial number: \"7\"\n");
  CHECK(told(0xFEEB, {}) == "identification: all fields are empty\n");
}

TEST_CASE("functionalities") {
  CHECK(told(0xFC8E, {0xFF, 3, 0, 1, 1, 0x06, 12, 2, 2, 1, 16, 19, 1, 1, 0xAB}) ==
        "functionality: minimum control function, generation 1, end-point (type 2) termination, sends "
        "heartbeats\n"
        "functionality: TC-SC client, generation 2, 1 boom, 16 sections\n"
        "functionality: functionality 19, generation 1, options ab\n");
  CHECK(told(0xFC8E, {0xFF, 2, 2, 3, 0}) ==
        "functionality: universal terminal, working set, generation 3\n"
        "malformed: 2 entries are announced, 1 fit into the message\n");
}

TEST_CASE("working sets") {
  CHECK(told(0xFE0D, {3, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}) ==
        "leads a working set: 3 members, itself counted in\n");
  CHECK(told(0xFE0D, {1}) == "leads a working set: it is alone\n");
  CHECK(told(0xFE0D, {0}) == "leads a working set: no members told, not even itself: against the standard\n");
  CHECK(told(0xFE0C, {0x01, 0x00, 0x00, 0x7D, 0x00, 0x86, 0x00, 0xA0}).substr(0, 46) ==
        "has as member: tractor ECU 0 of non-specific s");
}

TEST_CASE("process data in the dictionary's words") {
  CHECK(told(kProcess, {0x23, 0x01, 0x06, 0x00, 0x50, 0x46, 0x00, 0x00}) ==
        "value: Setpoint Mass Per Area Application Rate (DDI 6) of element 18: 18000 mg/m2 (180.00 kg/ha)\n");
  CHECK(told(kProcess, {0x03, 0x00, 0x43, 0x00, 0x28, 0x23, 0x00, 0x00}) ==
        "value: Actual Working Width (DDI 67) of element 0: 9000 mm\n");
  CHECK(told(kProcess, {0x1A, 0x00, 0x43, 0x00, 0xFF, 0xFF, 0xFF, 0xFF}) ==
        "sets the value, to be acknowledged: Actual Working Width (DDI 67) of element 1: -1 mm "
        "(outside the dictionary's range)\n");
  CHECK(told(kProcess, {0x13, 0x00, 0x0B, 0x00, 0x70, 0x11, 0x01, 0x00}) ==
        "value: Setpoint Count Per Area Application Rate (DDI 11) of element 1: 70.000 pieces/m2\n");
  CHECK(told(kProcess, {0x02, 0x00, 0xFF, 0xDF, 0xFF, 0xFF, 0xFF, 0xFF}) ==
        "asks for the value: DDI 57343, not in the dictionary, of element 0\n");
  CHECK(told(kProcess, {0x53, 0x00, 0x8D, 0x00, 1, 0, 0, 0}) ==
        "value: Actual Work State (DDI 141) of element 5: on\n");
}

TEST_CASE("condensed work states are told by section") {
  // Fact sheet, process data, 1.2: sections 1 to 8 on, 9 to 12 off, the rest not installed.
  CHECK(told(kProcess, {0x13, 0x00, 0xA1, 0x00, 0x55, 0x55, 0x00, 0xFF}) ==
        "value: Actual Condensed Work State (1-16) (DDI 161) of element 1: sections 1 to 8 on, 9 to 12 off, "
        "13 to 16 "
        "not installed\n");
  // DDI 291 holds sections 17 to 32; the lowest two bits are 01, all others 11.
  CHECK(told(kProcess, {0x13, 0x00, 0x23, 0x01, 0xFD, 0xFF, 0xFF, 0xFF}) ==
        "value: DDI 291, not in the dictionary, of element 1: section 17 on, 18 to 32 no change\n");
}

TEST_CASE("measurement commands") {
  CHECK(told(kProcess, {0x04, 0x00, 0x43, 0x00, 0xE8, 0x03, 0, 0}) ==
        "wants values by time: Actual Working Width (DDI 67) of element 0: every 1000 ms\n");
  CHECK(told(kProcess, {0x05, 0x00, 0x43, 0x00, 0, 0, 0, 0}) ==
        "wants values by distance: Actual Working Width (DDI 67) of element 0: no more\n");
  CHECK(told(kProcess, {0x26, 0x01, 0x43, 0x00, 0xFF, 0xFF, 0xFF, 0x7F}) ==
        "wants values by minimum: Actual Working Width (DDI 67) of element 18: no more\n");
  CHECK(told(kProcess, {0x27, 0x01, 0x43, 0x00, 0x01, 0x00, 0x00, 0x80}) ==
        "wants values by maximum: Actual Working Width (DDI 67) of element 18: no more\n");
  CHECK(told(kProcess, {0x27, 0x01, 0x43, 0x00, 0x64, 0, 0, 0}) ==
        "wants values by maximum: Actual Working Width (DDI 67) of element 18: threshold 100 mm\n");
  CHECK(told(kProcess, {0x58, 0x00, 0x8D, 0x00, 1, 0, 0, 0}) ==
        "wants values on change: Actual Work State (DDI 141) of element 5: of at least 1\n");
}

TEST_CASE("the conversation around process data") {
  CHECK(told(kProcess, {0x3D, 0x12, 0x43, 0x00, 0x10, 0xFA, 0xFF, 0xFF}) ==
        "refuses: process data not settable; Actual Working Width (DDI 67) of element 291; answers command "
        "10 (set value and acknowledge)\n");
  CHECK(told(kProcess, {0x0D, 0x00, 0x43, 0x00, 0x00, 0xF4, 0xFF, 0xFF}) ==
        "acknowledges: accepted; Actual Working Width (DDI 67) of element 0; answers command 4 (time "
        "interval)\n");
  CHECK(told(kProcess, {0xFD, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}) ==
        "acknowledges: all error bits are set: probably a defect of the sender, not eight errors\n");
  CHECK(told(kProcess, {0xFE, 0xFF, 0xFF, 0xFF, 0x01, 0x00, 0x00, 0xFF}) ==
        "task controller status: task running\n");
  CHECK(told(kProcess, {0xFE, 0xFF, 0xFF, 0xFF, 0x08, 0x83, 0x81, 0xFF}) ==
        "task controller status: no task running, busy with a device descriptor command; for 131 (0x83), "
        "command 0x81 "
        "(device descriptor)\n");
  CHECK(told(kProcess, {0xFF, 0xFF, 0xFF, 0xFF, 0x00, 0, 0, 0}) == "client task: no task running\n");
  CHECK(told(kProcess, {0x10, 4, 0xFF, 0x13, 0, 1, 12, 2}) ==
        "version: version 4 (second edition)\n"
        "can: documentation and totals (TC-BAS), TC-GEO without position-based control, section control "
        "(TC-SC)\n"
        "counts: 1 boom, 12 sections, 2 position-based channels\n");
  CHECK(told(kProcess, {0x00, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}) == "asks for: the version\n");
  CHECK(told(kProcess, {0x0B, 0, 0, 0, 0, 0, 0, 0}) == "command: 11, reserved\n");
  CHECK(told(kProcess, {0x09, 0x00, 0x06, 0x00, 0x20, 0x01, 0x45, 0x23, 0x01, 0x7D, 0x00, 0x80, 0x0C, 0xA0})
            .substr(0, 117) ==
        "assigns a receiver: Setpoint Mass Per Area Application Rate (DDI 6) of element 0; partner rate "
        "control 0 of "
        "sprayers ");
  CHECK(told(kProcess, {0x23, 0x01}) == "too short: 2 bytes where 8 are needed\n");
  CHECK(told(kProcess, {}) == "too short: 0 bytes where 1 are needed\n");
}

TEST_CASE("device descriptor messages") {
  CHECK(told(kProcess, {0x01, 'D', 'R', 'I', 'L', 'L', '0', '1'}) ==
        "asks for the structure label: \"DRILL01\"\n");
  CHECK(told(kProcess, {0x11, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}) == "structure label: not known\n");
  CHECK(told(kProcess, {0x41, 0x10, 0x27, 0, 0, 0xFF, 0xFF, 0xFF}) ==
        "asks to send an object pool: 10000 bytes\n");
  CHECK(told(kProcess, {0x51, 1, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}) ==
        "object pool may come: not enough memory\n");
  CHECK(told(kProcess, {0x61, 'D', 'V', 'C'}) ==
        "object pool transfer: 3 bytes with no objects\n"
        "object pool problem: byte 0: this DVC is cut off: it needs at least 5 bytes, 3 are left\n");
  CHECK(told(kProcess, {0x71, 0, 0x10, 0x27, 0, 0, 0xFF, 0xFF}) == "object pool received: ok, 10000 bytes\n");
  CHECK(told(kProcess, {0x81, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}) ==
        "asks to: activate the object pool\n");
  CHECK(told(kProcess, {0x91, 0x01, 0x02, 0x00, 0x07, 0x00, 0x02, 0xFF}) ==
        "object pool refused: errors in the object pool; object 7 of object 2: unknown object reference\n");
  CHECK(told(kProcess, {0x91, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0, 0xFF}) ==
        "object pool activated or deactivated: ok\n");
  CHECK(told(kProcess, {0xC1, 0x05, 0x00, 4, 'B', 'o', 'o', 'm'}) ==
        "asks to change the designator: of object 5 to \"Boom\"\n");
  CHECK(told(kProcess, {0xC1, 0x05, 0x00, 'L', 'e', 'f', 't', '1'}) ==
        "asks to change the designator: of object 5 to \"Left1\"\n");
  CHECK(told(kProcess, {0xF1, 0, 0, 0, 0, 0, 0, 0}) == "device descriptor: sub-command 15, not known\n");
}

TEST_CASE("terminal messages") {
  CHECK(told(0xE600, {0xFE, 0x83, 0xE8, 0x03, 0xFF, 0xFF, 0x00, 0xFF}) ==
        "function: VT status: active working set master 131 (0x83), mask 1000, soft key mask none, idle\n");
  CHECK(told(0xE600, {0xFE, 0xFE, 0xFF, 0xFF, 0xFF, 0xFF, 0x14, 0x12}) ==
        "function: VT status: no working set active, mask none, soft key mask none, busy: executing a "
        "command, parsing "
        "an object pool (end of object pool)\n");
  CHECK(told(0xE700, {0xFF, 0x01, 0x04, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}) ==
        "function: working set maintenance: made for VT version 4, initiating: it has just started\n");
  CHECK(told(0xE700, {0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}) ==
        "function: working set maintenance: VT version 2 or before\n");
  CHECK(told(0xE600, {0x01, 0x01, 0xD2, 0x04, 0xE8, 0x03, 0x07, 0xFF}) ==
        "function: button activation: key number 7 pressed, object 1234 in mask 1000\n");
  CHECK(told(0xE700, {0xC0, 0xFF, 0x00, 0x10, 0, 0, 0xFF, 0xFF}) ==
        "function: get memory: 4096 bytes needed\n");
  CHECK(told(0xE600, {0xC0, 0x05, 0x01, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}) ==
        "function: get memory: VT version 5, not enough memory\n");
  CHECK(told(0xE600, {0x12, 0x01, 0x01, 0x00, 0x02, 0x00, 0x02, 0xFF}) ==
        "function: end of object pool: errors in the object pool; faulty object 2, parent 1; unknown object "
        "reference\n");
  CHECK(told(0xE600, {0x06, 0xE8, 0x03, 0x04, 0x02, 0x00, 0x01, 0x00}) ==
        "function: VT change active mask: mask 1000; missing objects; faulty object 2, parent 1\n");
  CHECK(told(0xE600, {0xC7, 0x0A, 0x02, 0, 0xE0, 0x01, 0xE0, 0x01}) ==
        "function: get hardware: 480 x 480 pixels, 256 colours, starts in 10 s\n");
  CHECK(told(0xE700, {0xD1, 'V', '1', ' ', ' ', ' ', ' ', ' '}) ==
        "function: load version: label \"V1     \"\n");
  CHECK(told(0xE600, {0xD1, 0xFF, 0xFF, 0xFF, 0xFF, 0x02, 0xFF, 0xFF}) ==
        "function: load version: label not known or incorrect\n");
  CHECK(told(0xE700, {0x23, 0x34, 0x12, 0x01, 0xFF, 0xFF, 0xFF, 0xFF}) ==
        "function: auxiliary input type 2 maintenance: model 4660, ready\n");
  CHECK(
      told(0xE600, {0x26, 0x05, 0x00, 0x01, 0x00, 0x02, 0x00, 0x05}) ==
      "function: auxiliary input type 2 status: input object 5, value 1 1, value 2 2, learn mode, locked\n");
  CHECK(told(0xE700, {0xA8, 1, 2, 3, 4, 5, 6, 7}) == "function: change numeric value\n");
  CHECK(told(0xE700, {0x11, 1, 2, 3}) == "function: object pool transfer: 3 bytes of objects\n");
  CHECK(told(0xE700, {0x77}) == "function: reserved or proprietary function 0x77\n");
}

TEST_CASE("file server") {
  CHECK(told(0xAB00, {0x00, 0x03, 0x01, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}) ==
        "file server status: busy reading, busy writing, 1 file open\n");
  CHECK(told(0xAB00, {0x00, 0x00, 0x00}) == "file server status: idle, 0 files open\n");
  CHECK(told(0xAA00, {0x00, 0x02}) == "client maintenance: version 2\n");
  CHECK(told(0xAA00, {0x20, 0x01}) == "function: 0x20\n");
}

TEST_CASE("control messages of transfers") {
  CHECK(told(0xEC00, {0x20, 14, 0, 2, 0xFF, 0xCA, 0xFE, 0}) ==
        "will broadcast: 14 bytes in 2 packets of active trouble codes (DM1), PGN 65226 (0xFECA)\n");
  CHECK(told(0xEC00, {0x10, 0xF9, 0x06, 255, 16, 0x00, 0xCB, 0}) ==
        "wants to send: 1785 bytes in 255 packets, at most 16 at once of PGN 51968 (0xCB00)\n");
  CHECK(told(0xEC00, {0x11, 0, 0xFF, 0xFF, 0xFF, 0x00, 0xCB, 0}) ==
        "clear to send: hold on, no packets for now of PGN 51968 (0xCB00)\n");
  CHECK(told(0xEC00, {0x11, 16, 17, 0xFF, 0xFF, 0x00, 0xCB, 0}) ==
        "clear to send: 16 packets from number 17 of PGN 51968 (0xCB00)\n");
  CHECK(told(0xEC00, {0xFF, 3, 0xFF, 0xFF, 0xFF, 0x00, 0xCB, 0}) ==
        "aborts: timeout (reason 3) of PGN 51968 (0xCB00)\n");
  CHECK(told(0xC800, {0x14, 0x40, 0x42, 0x0F, 0x00, 0x00, 0xE7, 0}) ==
        "wants to send: 1000000 bytes of PGN 59136 (0xE700)\n");
  CHECK(told(0xC800, {0x16, 16, 32, 0, 0, 0x00, 0xE7, 0}) ==
        "goes on: 16 packets from number 33 of PGN 59136 (0xE700)\n");
  CHECK(told(0xEC00, {0x55, 0, 0, 0, 0, 0, 0, 0}) == "control byte: 85, not known\n");
}

TEST_CASE("language and units") {
  // Distance imperial (01), area metric (00), volume US (10), mass no action (11) = 0x4B;
  // temperature metric, pressure metric, force no action (11), system metric = 0x0C.
  CHECK(told(0xFE0F, {'d', 'e', 0x4F, 0x04, 0x4B, 0x0C, 'A', 'T'}) ==
        "language: \"de\", country \"AT\"\n"
        "formats: decimal point, 24 hours, yyyymmdd\n"
        "units: distance imperial or US, area metric, volume US, temperature metric, pressure metric, all "
        "other units "
        "metric\n");
  CHECK(told(0xFE0F, {'e', 'n', 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}) ==
        "language: \"en\"\nunits: no action\n");
}

TEST_CASE("time and date as a moment") {
  // 30.5 s = 122, 12 min, 6 h, April, day 7 = raw 25..28, 2026 = 41, minute offset 0 = 125, hour offset +2 =
  // 127.
  CHECK(told(0xFEE6, {122, 12, 6, 4, 28, 41, 125, 127}) ==
        "moment: 2026-04-07 06:12:30.50 UTC, local time is UTC+02:00\n");
  CHECK(told(0xFEE6, {122, 12, 6, 4, 25, 41, 95, 122}) ==
        "moment: 2026-04-07 06:12:30.50 UTC, local time is UTC-03:30\n");
  CHECK(told(0xFEE6, {0, 0, 0, 2, 116, 39, 125, 249}) ==
        "moment: 2024-02-29 00:00:00.00 UTC, local offset not given\n");
  CHECK(told(0xFEE6, {0, 0, 0, 2, 116, 40, 125, 250}) == "moment: no valid date, 00:00:00.00 local time\n");
  CHECK(told(0xFEE6, {0, 0, 0, 1, 4, 40, 125, 0}) == "moment: 2025-01-01 00:00:00.00, time base unknown\n");
  CHECK(told(0xFEE6, Data(8, 0xFF)) == "moment: no valid date and time\n");
}

TEST_CASE("GNSS time and reference stations") {
  // 20550 days after 1970-01-01 is 2026-04-07 (56 years of 365 + 14 leap days = 20454, + 96); 06:12:00.1234.
  Data system{0xFF, 0xFF, 0x46, 0x50, 0, 0, 0, 0};
  const std::uint32_t time = (6 * 3600 + 12 * 60) * 10000u + 1234;
  for (unsigned i = 0; i < 4; ++i) system[4 + i] = static_cast<std::uint8_t>(time >> (8 * i));
  CHECK(told(0x1F010, system) == "moment: 2026-04-07 06:12:00.1234 UTC\n");
  CHECK(told(0x1F010, Data(8, 0xFF)) == "moment: no valid date and time\n");

  Data position(43, 0xFF);
  position[1] = 0;
  position[2] = 0;
  for (unsigned i = 3; i < 7; ++i) position[i] = 0;
  position[42] = 2;
  // GPS (0), station 0x123 = 291, 2.50 s; then a block that is torn off.
  for (const std::uint8_t byte : Data{0x30, 0x12, 0xFA, 0x00, 0xFF}) position.push_back(byte);
  CHECK(told(0x1F805, position) ==
        "moment: 1970-01-01 00:00:00.0000 UTC\n"
        "reference station 1: GPS, station 291, corrections 2.50 s old\n"
        "malformed: 2 reference stations are announced, 1 are there\n");
}

TEST_CASE("satellites") {
  // PRN 12, elevation 0.7854 rad = 45 deg, azimuth 3.1416 rad = 180 deg, 42.5 dB, residual not available,
  // used.
  Data data{0x05, 0xFF, 1, 12, 0xAE, 0x1E, 0xB8, 0x7A, 0x9A, 0x10, 0xFF, 0xFF, 0xFF, 0x7F, 0xF2};
  CHECK(told(0x1FA04, data) ==
        "satellite 12: used, elevation 45.0 deg, azimuth 180.0 deg, signal 42.50 dB\n");
  data[2] = 3;
  CHECK(told(0x1FA04, data).ends_with("malformed: 3 satellites are announced, 1 are there\n"));
}

TEST_CASE("heartbeat codes") {
  CHECK(told(0xF0E4, {7}).empty());
  CHECK(told(0xF0E4, {251}) == "heartbeat: the first one after the start\n");
  CHECK(told(0xF0E4, {254}) == "heartbeat: the sender says that it is in an error state\n");
  CHECK(told(0xF0E4, {255}) == "heartbeat: the sender stops on purpose\n");
}

TEST_CASE("no bytes and any bytes: every teller stays calm and short") {
  constexpr Pgn kAll[] = {0xEA00, 0xCC00, 0xFE0E, 0xE800, 0xEE00, 0xFED8, 0xFECA,  0xFECB,  0xC300, 0xFEDA,
                          0xFDC5, 0xFC8D, 0xFEEB, 0xFC8E, 0xFE0D, 0xFE0C, 0xCB00,  0xE600,  0xE700, 0xAA00,
                          0xAB00, 0xEC00, 0xC800, 0xFE0F, 0xFEE6, 0xF0E4, 0x1F805, 0x1F010, 0x1FA04};
  std::uint32_t random = 12345;
  for (const Pgn pgn : kAll) {
    REQUIRE(find_teller(pgn));
    for (std::size_t length = 0; length < 40; ++length)
      for (int round = 0; round < 20; ++round) {
        Data data(length);
        for (std::uint8_t& byte : data) {
          random = random * 1664525 + 1013904223;
          byte = static_cast<std::uint8_t>(random >> 24);
        }
        const std::string text = told(pgn, data);
        CHECK(text.size() < 8000);
        CHECK(std::none_of(text.begin(), text.end(),
                           [](char c) { return c != '\n' && static_cast<unsigned char>(c) < 0x20; }));
      }
    // A long message of one byte value must not become a long text.
    for (const std::uint8_t fill : Data{0x00, 0x2A, 0x41, 0xFF}) {
      Data data(200'000, fill);
      data[0] = static_cast<std::uint8_t>(pgn == 0xCB00 ? 0xC1 : fill);
      CHECK(told(pgn, data).size() < 200'000);
    }
  }
  CHECK(find_teller(0xFF78) == nullptr);
}
