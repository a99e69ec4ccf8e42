#include "unit/decode/decode_bench.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

const Payload kSpeed{0xD0, 0x09, 0x10, 0x27, 0x00, 0x00, 0xFF, 0xF7};
constexpr std::uint32_t kSpeedId = make_id(3, 0xFE48, 0xF0);
constexpr std::uint32_t kRatesId = make_id(6, 0xFF10, 0x80);
constexpr std::uint32_t kStrangeId = make_id(6, 0xFF77, 0x80);

using Frames = std::vector<std::uint64_t>;

/// Frames 1 and 2 are the claims, 3 to 6 messages.
Traffic machine() {
  return Traffic()
      .claim(0, 0xF0, kTractor)
      .claim(0, 0x80, kMeter)
      .frame(1, kSpeedId, kSpeed)
      .frame(2, kRatesId, {1, 0x10, 0, 0, 0, 0, 0, 0})
      .frame(3, kRatesId, {2, 0x10, 0, 0, 0, 0, 0, 0})
      .frame(4, kStrangeId, Payload(8, 0));
}

Error error_of(const DecodeFilter& filter, std::optional<Roster> roster = std::nullopt) {
  static const Schema schema = test_schema();
  Listener listener;
  auto made = Interpreter::make(schema, filter, std::move(roster), listener);
  REQUIRE(!made.ok());
  CHECK(made.error().kind == ErrorKind::usage);
  return made.error();
}

Roster roster() {
  return parse_roster("[[controller]]\nlabel = \"Metering front\"\nname = { function = 128 }\n", "r.toml")
      .value();
}

}  // namespace

TEST_CASE("messages are chosen by name, pattern or PGN") {
  DecodeFilter filter;
  filter.messages = {"wheelspeed"};
  CHECK(listen(machine(), filter).frames() == Frames{3});
  filter.messages = {"R*", "65096"};
  CHECK(listen(machine(), filter).frames() == Frames{3, 4, 5});
  filter.messages = {"0xFF77"};
  CHECK(listen(machine(), filter).frames() == Frames{6});
  filter.messages = {"60928"};
  CHECK(listen(machine(), filter).frames() == Frames{1, 2});
}

TEST_CASE("signals are chosen by name, message and name, or SPN") {
  DecodeFilter filter;
  filter.signals = {"Speed"};
  Listener heard = listen(machine(), filter);
  CHECK(heard.frames() == Frames{3});
  CHECK(heard.told[0].readings.size() == 1);
  CHECK(heard.told[0].readings.count("Speed") == 1);
  filter.signals = {"spn:1862"};
  heard = listen(machine(), filter);
  CHECK(heard.frames() == Frames{3});
  CHECK(heard.told[0].readings.count("Speed") == 1);
  filter.signals = {"Rates.*rate", "KeySwitch"};
  heard = listen(machine(), filter);
  REQUIRE(heard.frames() == Frames{3, 4, 5});
  CHECK(heard.told[0].readings.count("KeySwitch") == 1);
  CHECK(heard.told[0].readings.size() == 1);
  CHECK(heard.told[1].readings.at("SeedRate").value.to_double() == -92.0);  // 16 x 0.5 - 100
  CHECK(heard.told[1].readings.size() == 1);
  CHECK(heard.told[2].readings.at("GrainRate").value.to_double() == 16);
  // A multiplexed signal is there only if it was chosen on the bus.
  filter.signals = {"GrainRate"};
  CHECK(listen(machine(), filter).frames() == Frames{5});
}

TEST_CASE("process data is chosen by its data entity") {
  const std::uint32_t id = make_id(3, 0xCB00, 0xF7, 0x80);
  // Command 3 (value), element 1; DDI 7 and DDI 0x0107; a request (command 2); an acknowledgement (13).
  Traffic traffic;
  traffic.frame(0, id, {0x13, 0, 7, 0, 1, 0, 0, 0})
      .frame(1, id, {0x13, 0, 7, 1, 1, 0, 0, 0})
      .frame(2, id, {0x12, 0, 7, 0, 0xFF, 0xFF, 0xFF, 0xFF})
      .frame(3, id, {0x1D, 0, 7, 0, 1, 0, 0, 0})
      .frame(4, kSpeedId, kSpeed);
  DecodeFilter filter;
  filter.signals = {"ddi:7"};
  CHECK(listen(traffic, filter).frames() == Frames{1, 3});
  filter.signals = {"DDI:0x107", "Speed"};
  CHECK(listen(traffic, filter).frames() == Frames{2, 5});
}

TEST_CASE("senders are chosen by label, function, NAME or address") {
  DecodeFilter filter;
  filter.controllers = {"metering *"};
  CHECK(listen(machine(), filter, roster()).frames() == Frames{2, 4, 5, 6});
  filter.controllers = {
      function_term(Name(kMeter))};  // the label stands for it, but the term is known as well
  CHECK(listen(machine(), filter, roster()).frames() == Frames{2, 4, 5, 6});
  filter.controllers = {Name(kTractor).hex()};
  CHECK(listen(machine(), filter).frames() == Frames{1, 3});
  filter.controllers = {"0xF0"};
  CHECK(listen(machine(), filter).frames() == Frames{1, 3});
  filter.controllers = {"128", "240"};
  CHECK(listen(machine(), filter).frames() == Frames{1, 2, 3, 4, 5, 6});
  // Who has not claimed yet can only be asked for by address.
  filter.controllers = {Name(kMeter).hex()};
  CHECK(listen(Traffic().frame(0, kRatesId, kSpeed).claim(1, 0x80, kMeter).frame(2, kRatesId, kSpeed), filter)
            .frames() == Frames{2, 3});
}

TEST_CASE("what is not known is told, with what is near") {
  DecodeFilter filter;
  filter.messages = {"WheelSped"};
  Error error = error_of(filter);
  CHECK(error.where == "--message");
  CHECK(error.remedy.find("\"WheelSpeed\"") != std::string::npos);
  filter.messages = {"262144"};
  CHECK(error_of(filter).what.find("262144") != std::string::npos);
  filter = {};
  filter.signals = {"KeySwich"};
  error = error_of(filter);
  CHECK(error.where == "--signal");
  CHECK(error.remedy.find("\"KeySwitch\"") != std::string::npos);
  filter.signals = {"WheelSpeed.KeySwich"};
  CHECK(error_of(filter).remedy.find("\"WheelSpeed.KeySwitch\"") != std::string::npos);
  filter.signals = {"spn:190"};
  CHECK(error_of(filter).what.find("190") != std::string::npos);
  filter.signals = {"ddi:65536"};
  CHECK(error_of(filter).what.find("ddi:65536") != std::string::npos);
  filter = {};
  filter.controllers = {"metering frnt"};
  error = error_of(filter, roster());
  CHECK(error.where == "--controller");
  CHECK(error.remedy.find("\"Metering front\"") != std::string::npos);
  filter.controllers = {"256"};
  CHECK(error_of(filter).what.find("256") != std::string::npos);
}

TEST_CASE("a span of time is told, but names are learnt before it") {
  DecodeFilter filter;
  filter.from = parse_time_bound("1.5", "--from").value();
  filter.to = parse_time_bound("06:12:03", "--to").value();
  const Listener heard = listen(machine(), filter);
  REQUIRE(heard.frames() == Frames{4, 5});
  CHECK(heard.told[0].from == function_term(Name(kMeter)));
}

TEST_CASE("the end of the wanted time is noticed, but not by one wild time stamp") {
  static const Schema schema = test_schema();
  Listener listener;
  DecodeFilter filter;
  filter.to = parse_time_bound("10", "--to").value();
  auto made = Interpreter::make(schema, filter, std::nullopt, listener);
  REQUIRE(made.ok());
  Event event;
  event.flags = kExtendedId;
  event.id = kSpeedId;
  event.data = kSpeed.data();
  event.len = 8;
  const auto hear = [&](TimeNs time, unsigned times) {
    event.time = time;
    for (unsigned i = 0; i < times; ++i) {
      ++event.number;
      (*made)->take({&event, 1});
    }
  };
  hear(kBegin, 5);
  hear(kBegin + kHour, 1);
  hear(kBegin + kSecond, 1);
  CHECK(!(*made)->past_span());
  CHECK(listener.told.size() == 6);
  hear(kBegin + 11 * kSecond, 50'000);
  CHECK((*made)->past_span());
  CHECK(listener.told.size() == 6);
}

TEST_CASE("only changes are told if nothing else is asked for") {
  const auto speed = [](std::uint8_t low, std::uint8_t key) {
    return Payload{low, 0x09, 0x10, 0x27, 0, 0, 0xFF, static_cast<std::uint8_t>(0xF3 | key << 2)};
  };
  Traffic traffic;
  traffic.frame(0, kSpeedId, speed(1, 1))
      .frame(1, kSpeedId, speed(1, 1))
      .frame(2, kSpeedId, speed(2, 1))
      .frame(3, kSpeedId, speed(2, 0))
      .frame(4, kStrangeId, {1, 2, 3})
      .frame(5, kStrangeId, {1, 2, 3})
      .frame(6, kStrangeId, {1, 2, 3, 0})
      // Another sender is another story; B7 belongs to no signal.
      .frame(7, make_id(3, 0xFE48, 0x21), speed(2, 0))
      .frame(8, kSpeedId, {2, 0x09, 0x10, 0x27, 0, 0, 0x00, 0xF3})
      // Multiplexed: each selection has its own last value.
      .frame(9, kRatesId, {1, 0x10, 0, 0, 0, 0, 0, 0})
      .frame(10, kRatesId, {2, 0x10, 0, 0, 0, 0, 0, 0})
      .frame(11, kRatesId, {1, 0x10, 0, 0, 0, 0, 0, 0})
      .frame(12, kRatesId, {2, 0x11, 0, 0, 0, 0, 0, 0});
  DecodeFilter filter;
  filter.only_changes = true;
  CHECK(listen(traffic, filter).frames() == Frames{1, 3, 4, 5, 7, 8, 10, 11, 13});
  filter.signals = {"KeySwitch"};
  CHECK(listen(traffic, filter).frames() == Frames{1, 4, 8});
}
