// Messages taken apart, whole texts; the values are computed beside them.
#include "decode/explain.hpp"

#include <catch2/catch.hpp>

#include "base/text.hpp"
#include "unit/decode/story_bench.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

const Schema kSchema = small_schema();

struct Frame {
  Event event;
  Data data;
  ExplainInput input;

  Frame(std::uint32_t id, Data bytes, std::uint8_t flags = kExtendedId) : data(std::move(bytes)) {
    event.time = 20550 * 24 * kHour + 6 * kHour + 12 * kMinute + 100 * kMillisecond;
    event.number = 20113;
    event.id = id;
    event.flags = flags;
    event.data = data.data();
    event.len = static_cast<std::uint8_t>(data.size());
    input.frame = &event;
    input.bus = "can0";
  }
  std::string text() {
    input.frame = &event;
    return explain_frame(kSchema, input);
  }
};

}  // namespace

TEST_CASE("a broadcast message bit by bit") {
  // 0x0CFE48F0: priority 3, PF 0xFE = 254, PS 0x48 = 72, source 0xF0 = 240; PGN 0xFE48 = 65096.
  // Speed 0x09CF = 2511 x 0.001 = 2.511 m/s x 3.6 = 9.0396 km/h; distance 0x0012D687 = 1234567.
  Frame frame(0x0CFE48F0, {0xCF, 0x09, 0x87, 0xD6, 0x12, 0x00, 0xFF, 0xF5});
  const Speaker tractor{0, 0xF0, Name(0xA00086007D000001ull), "tractor ECU"};
  frame.input.from = &tractor;
  CHECK(frame.text() ==
        R"(Frame 20113 on can0, 2026-04-07T06:12:00.100000000Z

Identifier 0x0CFE48F0, 29 bits
  bits 28-26  priority                 3  0 is the most urgent, 7 the least
  bit 25      extended data page       0  as ISO 11783 has it
  bit 24      data page                0  most ISO 11783 messages are here
  bits 23-16  PDU format             254  0xFE, 240 or more: PDU2, goes to all
  bits 15-8   group extension         72  0x48, part of the PGN
  bits 7-0    source                 240  0xF0, tractor ECU, NAME a00086007d000001
  bits 25-8   PGN                  65096  0xFE48

Message WheelSpeed: Speed of the wheels
  from test.dbc:3
  chosen by its PGN: priority, source and destination may differ (0x0CFE48FE in the schema)
  8 bytes, as the schema says

  byte  hex   bits 8 to 1        belong to
     1   CF   1 1 0 0 1 1 1 1    a a a a a a a a
     2   09   0 0 0 0 1 0 0 1    a a a a a a a a
     3   87   1 0 0 0 0 1 1 1    b b b b b b b b
     4   D6   1 1 0 1 0 1 1 0    b b b b b b b b
     5   12   0 0 0 1 0 0 1 0    b b b b b b b b
     6   00   0 0 0 0 0 0 0 0    b b b b b b b b
     7   FF   1 1 1 1 1 1 1 1    . . . . . . . .
     8   F5   1 1 1 1 0 1 0 1    . . . . d d c c
  . no signal

Signals
a  Speed: Wheel-based speed (test.dbc:4, SPN 1862)
     bytes 1 to 2, 16 bits, unsigned, least significant byte first
     bits 0000 1001 1100 1111 = 2511 (0x9CF)
     2511 x 0.001 + 0 = 2.511 m/s = 9.040 km/h
     valid: 09 in the top byte is a number (00 to FA), ISO 11783-7
b  Distance (test.dbc:5)
     bytes 3 to 6, 32 bits, unsigned, least significant byte first
     raw 1234567 (0x12D687)
     1234567 x 0.001 + 0 = 1234.567 m
     valid: 00 in the top byte is a number (00 to FA), ISO 11783-7
c  Direction (test.dbc:6)
     bits 8.1 to 8.2, 2 bits, unsigned
     bits 01 = 1 (0x1)
     named "forward"
     valid: the code has a name
d  KeySwitch (test.dbc:7)
     bits 8.3 to 8.4, 2 bits, unsigned
     bits 01 = 1 (0x1)
     named "not off"
     valid: the code has a name

Bits that no signal uses: byte 7 = FF, bits 8.5 to 8.8 = 1111
)");
}

TEST_CASE("multiplexed, most significant byte first, eleven bits") {
  // 0xFFF0 as two's complement is -16; -16 x 0.5 - 10 = -18.
  CHECK(Frame(0x123, {1, 0xFF, 0xF0, 0x80}, 0).text() ==
        R"(Frame 20113 on can0, 2026-04-07T06:12:00.100000000Z

Identifier 0x123, 11 bits: no ISO 11783 traffic, has neither PGN nor addresses

Message Chosen
  from test.dbc:11
  chosen by its 11-bit identifier
  4 bytes, as the schema says

  byte  hex   bits 8 to 1        belong to
     1   01   0 0 0 0 0 0 0 1    a a a a a a a a
     2   FF   1 1 1 1 1 1 1 1    b b b b b b b b
     3   F0   1 1 1 1 0 0 0 0    b b b b b b b b
     4   80   1 0 0 0 0 0 0 0    . . . . . . . .
  . no signal

Signals
a  Which (test.dbc:12)
     byte 1, 8 bits, unsigned
     bits 0000 0001 = 1 (0x1)
     1 x 1 + 0 = 1
     valid: this message has no reserved codes
b  Warm (test.dbc:13)
     bits 2.8 down to 3.1, 16 bits, two's complement, most significant byte first
     present because Which is 1
     bits 1111 1111 1111 0000 = -16 (0xFFF0)
     -16 x 0.5 - 10 = -18.0 degC
     valid: this message has no reserved codes

Signals that are not in this message
  Cold (test.dbc:14): only if Which is 2; it is 1

Bits that no signal uses: byte 4 = 80
)");
}

TEST_CASE("the rule that decided is told") {
  // 64255 x 0.05 = 3212.75 V is over 100; two bytes too many.
  const std::string text =
      Frame(0x18FEF7F0, {130, 0xFF, 0xFF, 0xFF, 0xFF, 0xFA, 0xFF, 0xFF, 0xAA, 0xBB}).text();
  CHECK_THAT(text, Catch::Contains("  10 bytes, the schema says 8\n"));
  CHECK_THAT(text, Catch::Contains(
                       "     64255 x 0.05 + 0 = 3212.75 V\n     out of range: the schema gives [0|100]\n"));
  CHECK_THAT(text,
             Catch::Contains("Bits that no signal uses: bytes 2 to 4 = FF each, bytes 7 to 8 = FF each\n\n"
                             "Beyond the 8 bytes of the schema: aa bb\n"));
  const std::string short_text = Frame(0x18FEF7F0, {0xFE, 0xFF, 0xFF}).text();
  CHECK_THAT(
      short_text,
      Catch::Contains("     bits 1111 1110 = 254 (0xFE)\n     error: FE in the top byte, ISO 11783-7\n"));
  CHECK_THAT(short_text, Catch::Contains("     cut off: it ends in byte 6, the message has 3 bytes\n"));
  const std::string command = Frame(0x18FF4B83, Data(8, 0xFF)).text();
  CHECK_THAT(command,
             Catch::Contains("     bits 11 = 3 (0x3)\n     not requested: code 3 of 2 bits, ISO 11783-7\n"));
  const std::string named = Frame(0x0CFE48F0, Data(8, 0xFF)).text();
  CHECK_THAT(named,
             Catch::Contains("     named \"not available\"\n     not available: the code's name says so\n"));
  CHECK_THAT(named, Catch::Contains("     not available: FF in the top byte, ISO 11783-7\n"));
}

TEST_CASE("an unknown message keeps its identifier and its bits") {
  Frame frame(0x1CEFF083, {1, 0xA5});
  const Speaker planter{0, 0x83, std::nullopt, "metering\x1b front"};
  frame.input.from = &planter;
  CHECK(frame.text() ==
        R"(Frame 20113 on can0, 2026-04-07T06:12:00.100000000Z

Identifier 0x1CEFF083, 29 bits
  bits 28-26  priority                 7  0 is the most urgent, 7 the least
  bit 25      extended data page       0  as ISO 11783 has it
  bit 24      data page                0  most ISO 11783 messages are here
  bits 23-16  PDU format             239  0xEF, below 240: PDU1, has a destination
  bits 15-8   destination            240  0xF0
  bits 7-0    source                 131  0x83, metering\x1b front
  bits 25-8   PGN                  61184  0xEF00, with 0 in place of the destination

PGN 61184 (0xEF00) is not in the schema
  2 bytes

  byte  hex   bits 8 to 1
     1   01   0 0 0 0 0 0 0 1
     2   A5   1 0 1 0 0 1 0 1
)");
}

TEST_CASE("a packet says where it belongs, then the whole message comes") {
  Message message;
  message.pgn = 0xFECA;
  message.source = 0x83;
  message.carrier = Carrier::bam;
  message.first_frame = 20112;
  message.last_frame = 20114;
  const Data whole{0xFF, 0xFF, 0xA8, 0x00, 0x04, 0x03, 0xA8, 0x00, 0x1F, 0x01};
  message.data = whole;
  Frame frame(0x1CEBFF83, {0x02, 0x00, 0x1F, 0x01, 0xFF, 0xFF, 0xFF, 0xFF});
  frame.input.message = &message;
  const std::string text = frame.text();
  // The second packet of seven begins with byte 8.
  CHECK_THAT(text, Catch::Contains(R"(
Part of a transfer
  data packet 2 of 2: bytes 8 to 10 of the message
  its bytes 02 00 1f 01 ff ff ff ff
  belongs to PGN 65226 (0xFECA): 10 bytes broadcast in packets (TP, BAM), frames 20112 to 20114

PGN 65226 (0xFECA) is not in the schema
  10 bytes
  in words: active: SPN 168 FMI 4: battery potential, input 1, voltage below normal; 3 times
  in words: active: SPN 168 FMI 31: battery potential, input 1, condition exists; 1 time

  byte  hex   bits 8 to 1
     1   FF   1 1 1 1 1 1 1 1
)"));
  const std::string alone = Frame(0x1CECFF83, {0x20, 10, 0, 2, 0xFF, 0xCA, 0xFE, 0x00}).text();
  CHECK_THAT(alone, Catch::EndsWith(R"(
Part of a transfer
  a control message, not data
  in words: will broadcast: 10 bytes in 2 packets of active trouble codes (DM1), PGN 65226 (0xFECA)
  its bytes 20 0a 00 02 ff ca fe 00
  the whole message is not known: the capture does not hold all of its frames
)"));
}

TEST_CASE("fast packets count their own way") {
  Message message;
  message.pgn = 0x1F805;
  message.source = 0x1C;
  message.carrier = Carrier::fast_packet;
  message.first_frame = 1;
  message.last_frame = 7;
  const Data whole(43, 0);
  message.data = whole;
  // Sequence 5 (101), frame 2: bytes 6 + 7 + 1 = 14 to 20.
  Frame second(0x0DF8051C, {0xA2, 0, 0, 0, 0, 0, 0, 0});
  second.input.message = &message;
  CHECK_THAT(second.text(),
             Catch::Contains("frame 2 (counted from 0) of the fast packet with sequence 5: bytes 14 to "
                             "20 of the message\n"));
  Frame first(0x0DF8051C, {0xA0, 43, 0, 0, 0, 0, 0, 0});
  CHECK_THAT(first.text(),
             Catch::Contains("first frame of the fast packet with sequence 5, 43 bytes announced: bytes 1 "
                             "to 6 of the message\n"));
}

TEST_CASE("other packets are told in words") {
  Frame error(0x20, Data(8, 0));
  error.event.kind = EventKind::error;
  CHECK(error.text() ==
        "Frame 20113 on can0, 2026-04-07T06:12:00.100000000Z\n"
        "  Error frame: no acknowledgement: nobody else listens or the bit rate is wrong\n"
        "  its bytes 00 00 00 00 00 00 00 00\n");
  CHECK_THAT(Frame(0x18FEF7F0, {}, kExtendedId | kRemote).text(),
             Catch::Contains("  a remote frame: it asks and carries no data; ISO 11783 does not use them\n"));
}

TEST_CASE("any bytes under any identifier stay within the width") {
  const Schema& schema = Schema::built_in();
  std::uint32_t random = 4711;
  const auto next = [&] { return random = random * 1664525 + 1013904223; };
  std::vector<std::uint32_t> ids;
  for (const MessageSpec* message : schema.messages()) ids.push_back(message->id);
  REQUIRE(ids.size() > 100);
  for (const std::uint32_t id : ids) {
    Data data(next() >> 28);
    for (std::uint8_t& byte : data) byte = static_cast<std::uint8_t>(next() >> 24);
    Frame frame(id, data);
    Message message;
    message.pgn = pgn_of(id);
    message.source = source_of(id);
    message.destination = destination_of(id);
    message.carrier = next() >> 31 ? Carrier::fast_packet : Carrier::single;
    Data whole(next() >> 20);
    for (std::uint8_t& byte : whole) byte = static_cast<std::uint8_t>(next() >> 24);
    message.data = message.carrier == Carrier::single ? data : whole;
    frame.input.message = &message;
    std::string text = explain_frame(schema, frame.input);
    std::size_t at = 0;
    for (std::size_t stop = text.find('\n'); stop != std::string::npos; stop = text.find('\n', at)) {
      REQUIRE(stop - at <= kExplainWidth);
      at = stop + 1;
    }
    CHECK(at == text.size());
    CHECK(as_ascii(text) == text);
  }
}
