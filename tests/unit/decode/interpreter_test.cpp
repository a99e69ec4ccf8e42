#include "unit/decode/decode_bench.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

// 2512 mm/s, 10,000 mm, key "not off" (bits 58-59 = 1), everything else all ones.
const Payload kSpeed{0xD0, 0x09, 0x10, 0x27, 0x00, 0x00, 0xFF, 0xF7};
constexpr std::uint32_t kSpeedId = make_id(3, 0xFE48, 0xF0);
constexpr std::uint32_t kRatesId = make_id(6, 0xFF10, 0x80);

}  // namespace

TEST_CASE("a single frame is told with its readings, whoever sends it") {
  const Listener heard =
      listen(Traffic().frame(0, kSpeedId, kSpeed).frame(1, make_id(6, 0xFE48, 0x21), kSpeed));
  REQUIRE(heard.told.size() == 2);
  const Told& first = heard.told[0];
  CHECK(first.message == "WheelSpeed");
  CHECK(first.pgn == 65096);
  CHECK(first.source == 0xF0);
  CHECK(first.from == "unclaimed");
  CHECK(first.to == "all");
  CHECK(first.priority == 3);
  CHECK(first.carrier == Carrier::single);
  CHECK(first.first_frame == 1);
  CHECK(first.last_frame == 1);
  CHECK(first.data == kSpeed);
  REQUIRE(first.readings.size() == 3);
  CHECK(first.readings.at("Speed").value.to_double() == 2.512);
  CHECK(first.readings.at("Distance").value.to_double() == 10.0);
  REQUIRE(first.readings.at("KeySwitch").text != nullptr);
  CHECK(*first.readings.at("KeySwitch").text == "not off");
  CHECK(heard.told[1].message == "WheelSpeed");
  CHECK(heard.told[1].priority == 6);
  CHECK(heard.announcements == 1);
}

TEST_CASE("names appear with the claim and go with the address") {
  Roster roster =
      parse_roster("[[controller]]\nlabel = \"metering front\"\nname = { function = 128 }\n", "r.toml")
          .value();
  Traffic traffic;
  traffic.frame(0, kRatesId, Payload(8, 0))
      .claim(1, 0x80, kMeter)
      .frame(2, kRatesId, Payload(8, 0))
      .claim(3, 0xF0, kTractor)
      .frame(4, make_id(6, 0xEF00, 0xF0, 0x80), Payload(8, 0))
      .claim(5, 0x81, kMeter)  // it moves
      .frame(6, kRatesId, Payload(8, 0))
      .frame(7, make_id(6, 0xEF00, 0xF0, 0x80), Payload(8, 0))
      .frame(8, make_id(6, 0xFF10, 0x81), Payload(8, 0))
      .frame(9, make_id(6, 0xEE00, kNullAddress), little_endian(kTractor));
  const Listener heard = listen(traffic, {}, roster);
  REQUIRE(heard.told.size() == 10);
  CHECK(heard.told[0].from == "unclaimed");
  CHECK(heard.told[1].from == "metering front");  // the claim itself
  CHECK(heard.told[2].from == "metering front");
  CHECK(heard.told[3].from == function_term(Name(kTractor)));
  CHECK(heard.told[4].from == function_term(Name(kTractor)));
  CHECK(heard.told[4].to == "metering front");
  CHECK(heard.told[6].from == "unclaimed");
  CHECK(heard.told[7].to == "unclaimed");
  CHECK(heard.told[8].from == "metering front");
  CHECK(heard.told[9].from == "no address");
  const Listener without = listen(traffic);
  CHECK(without.told[2].from == function_term(Name(kMeter)));
}

TEST_CASE("the same address on two buses is two voices") {
  const Listener heard = listen(Traffic()
                                    .bus(1, "can1")
                                    .claim(0, 0x80, kMeter, 0)
                                    .frame(1, kRatesId, Payload(8, 0), 0)
                                    .frame(1, kRatesId, Payload(8, 0), 1));
  REQUIRE(heard.told.size() == 3);
  CHECK(heard.told[1].from == function_term(Name(kMeter)));
  CHECK(heard.told[2].from == "unclaimed");
}

TEST_CASE("a transfer is told once, at its last data frame") {
  Payload text;
  for (std::uint8_t i = 0; i < 14; ++i) text.push_back(static_cast<std::uint8_t>(10 + i));
  Traffic traffic;
  traffic.claim(0, 0x80, kMeter).bam(1, 0xFF21, 0x80, text).frame(1.2, kSpeedId, kSpeed);
  const Listener heard = listen(traffic);
  REQUIRE(heard.told.size() == 3);
  const Told& whole = heard.told[1];
  CHECK(whole.message == "LongTexts");
  CHECK(whole.carrier == Carrier::bam);
  CHECK(whole.first_frame == 2);
  CHECK(whole.last_frame == 4);
  CHECK(whole.data == text);
  CHECK(whole.from == function_term(Name(kMeter)));
  CHECK(whole.to == "all");
  CHECK(whole.readings.at("First").value.to_double() == 10);
  CHECK(whole.readings.at("Last").value.to_double() == 23);

  DecodeFilter with_frames;
  with_frames.transport_frames = true;
  CHECK(listen(traffic, with_frames).frames() == std::vector<std::uint64_t>{1, 2, 3, 4, 4, 5});
  DecodeFilter named;
  named.messages = {"0xEC00"};
  CHECK(listen(traffic, named).frames() == std::vector<std::uint64_t>{2});
}

TEST_CASE("a schema may bring fast-packet messages of its own") {
  // Twelve bytes: six in the first frame behind counter and length, six in the second.
  const std::uint32_t id = make_id(6, 0x1FF33, 0x23);
  Traffic traffic;
  traffic.frame(0, id, {0x40, 12, 0x39, 0x30, 2, 3, 4, 5})
      .frame(0.1, id, {0x41, 6, 7, 8, 9, 0x31, 0xD4, 0xFF});
  const Listener heard = listen(traffic);
  REQUIRE(heard.told.size() == 1);
  CHECK(heard.told[0].message == "FastLong");
  CHECK(heard.told[0].carrier == Carrier::fast_packet);
  CHECK(heard.told[0].readings.at("Begin").value.to_double() == 12345);
  CHECK(heard.told[0].readings.at("End").value.to_double() == 0xD431);

  DecodeFilter with_frames;
  with_frames.transport_frames = true;
  const Listener pieces = listen(traffic, with_frames);
  REQUIRE(pieces.told.size() == 3);
  CHECK(pieces.told[0].message.empty());  // a piece is not the message
  CHECK(pieces.told[0].data.size() == 8);
}

TEST_CASE("frames of other kinds are told as what they are") {
  Traffic traffic;
  traffic
      .frame(0, 0x123, {0x18, 0xFC, 0, 0, 0, 0, 0, 0}, 0, 0)  // 11 bit: -1000 x 0.1
      .frame(1, kSpeedId, Payload{}, 0, kExtendedId | kRemote)
      .frame(2, kSpeedId, Payload(64, 0x01), 0, kExtendedId | kFd)
      .frame(3, kSpeedId, Payload(3, 0x01), 0, kExtendedId | kShortData)
      .frame(4, kSpeedId, Payload{});
  const Listener heard = listen(traffic);
  REQUIRE(heard.told.size() == 5);
  CHECK(heard.told[0].message == "ElevenBits");
  CHECK(heard.told[0].from.empty());
  CHECK(heard.told[0].readings.at("Pressure").value.to_double() == -100.0);
  CHECK(heard.told[1].flags == (kExtendedId | kRemote));
  CHECK(heard.told[1].readings.empty());
  CHECK(heard.told[1].data.empty());
  CHECK(heard.told[2].data.size() == 64);
  CHECK(heard.told[2].readings.at("Speed").value.to_double() == 0.257);
  CHECK((heard.told[3].flags & kShortData) != 0);
  CHECK(heard.told[3].readings.at("Speed").value.to_double() == 0.257);
  CHECK(heard.told[3].readings.at("Distance").validity == Validity::cut_off);
  CHECK(heard.told[4].readings.at("Speed").validity == Validity::cut_off);
}

TEST_CASE("error frames and notices are told, unless single messages are asked for") {
  Traffic traffic;
  traffic.bus(1, "can1")
      .error(1)
      .notice(2, Counters{10, 0, 0})
      .notice(2, FramesLost{3}, 1)
      .frame(3, kSpeedId, kSpeed);
  CHECK(listen(traffic).events ==
        std::vector<EventKind>{EventKind::error, EventKind::notice, EventKind::notice});
  DecodeFilter one_bus;
  one_bus.buses = {"CAN1"};
  CHECK(listen(traffic, one_bus).events == std::vector<EventKind>{EventKind::notice});
  CHECK(listen(traffic, one_bus).told.empty());
  DecodeFilter messages;
  messages.messages = {"WheelSpeed"};
  CHECK(listen(traffic, messages).events.empty());
  CHECK(listen(traffic, messages).told.size() == 1);
}

TEST_CASE("identifiers beyond the cap are still decoded and named") {
  static const Schema schema = test_schema();
  Listener listener;
  DecodeFilter filter;
  filter.messages = {"WheelSpeed"};
  auto made = Interpreter::make(schema, filter, std::nullopt, listener);
  REQUIRE(made.ok());
  Event event;
  event.flags = kExtendedId;
  event.data = kSpeed.data();
  event.len = 8;
  event.time = kBegin;
  // More different identifiers than are kept, none of them wanted.
  for (std::uint32_t i = 0; i < Interpreter::kMaxTalks + 10; ++i) {
    event.number = i + 1;
    event.id = make_id(7, 0xEF00, static_cast<Address>(i), static_cast<Address>(i >> 8)) ^ (i >> 16) << 26;
    (*made)->take({&event, 1});
  }
  CHECK((*made)->losses().beyond_cap == 10);
  Traffic traffic;
  traffic.frame(0, kSpeedId, kSpeed)
      .claim(1, 0xF0, kTractor)
      .frame(2, kSpeedId, kSpeed)
      .frame(3, make_id(3, 0xFE48, 0x22), kSpeed);
  (*made)->take(traffic.events());
  REQUIRE(listener.told.size() == 3);
  CHECK(listener.told[0].from == "unclaimed");
  CHECK(listener.told[1].from == function_term(Name(kTractor)));
  CHECK(listener.told[2].from == "unclaimed");
  CHECK(listener.told[2].readings.at("Speed").value.to_double() == 2.512);
}
