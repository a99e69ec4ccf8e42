#include <catch2/catch.hpp>

#include "capture_bytes.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

std::string from_hex(const std::string& text) {
  std::string bytes;
  std::string digits;
  for (const char c : text) {
    if (std::isxdigit(static_cast<unsigned char>(c)) == 0) continue;
    digits += c;
    if (digits.size() < 2) continue;
    bytes += static_cast<char>(std::stoi(digits, nullptr, 16));
    digits.clear();
  }
  return bytes;
}

// Fact sheet 8.7.
const std::string kExample = from_hex(
    "0A 0D 0D 0A 1C 00 00 00 4D 3C 2B 1A 01 00 00 00 FF FF FF FF FF FF FF FF 1C 00 00 00"
    "01 00 00 00 34 00 00 00 E3 00 00 00 00 00 00 00 02 00 04 00 63 61 6E 30 09 00 01 00 09 00 00 00"
    "08 00 08 00 90 D0 03 00 00 00 00 00 00 00 00 00 34 00 00 00"
    "06 00 00 00 3C 00 00 00 00 00 00 00 FE 9C 97 17 15 CD 85 3D 10 00 00 00 10 00 00 00 98 EE FF F0"
    "08 00 00 00 01 00 00 7D 00 86 00 A0 02 00 04 00 01 00 00 00 00 00 00 00 3C 00 00 00"
    "06 00 00 00 2C 00 00 00 00 00 00 00 FE 9C 97 17 15 CD 85 3D 0B 00 00 00 0B 00 00 00 98 EA FF FE"
    "03 00 00 00 00 EE 00 00 2C 00 00 00"
    "05 00 00 00 40 00 00 00 00 00 00 00 FE 9C 97 17 15 CD 85 3D 04 00 08 00 02 00 00 00 00 00 00 00"
    "05 00 08 00 00 00 00 00 00 00 00 00 07 00 08 00 00 00 00 00 00 00 00 00 00 00 00 00 40 00 00 00");

}  // namespace

TEST_CASE("the example of the fact sheet") {
  const Seen seen = read_bytes(kExample);
  REQUIRE(seen.events.size() == 4);
  const auto* bus = seen.events[0].as<BusInfo>();
  REQUIRE(bus != nullptr);
  CHECK(bus->name == "can0");
  CHECK(bus->bitrate == 250'000);
  const SeenEvent& claim = seen.events[1];
  CHECK(claim.event.time == kT0);
  CHECK(claim.event.number == 1);
  CHECK(claim.event.id == 0x18EEFFF0);
  CHECK(claim.event.flags == kExtendedId);
  CHECK(claim.data == std::string("\x01\0\0\x7D\0\x86\0\xA0", 8));
  const SeenEvent& request = seen.events[2];
  CHECK(request.event.number == 2);
  CHECK(request.event.id == 0x18EAFFFE);
  CHECK(request.data == std::string("\0\xEE\0", 3));
  const auto* counters = seen.events[3].as<Counters>();
  REQUIRE(counters != nullptr);
  CHECK(counters->received == 2);
  CHECK(counters->interface_dropped == 0);
  CHECK(counters->system_dropped == 0);
  CHECK(seen.events[3].event.time == kT0);
  CHECK(seen.tally.packets == 2);
  CHECK(seen.tally.damaged_bytes == 0);
}

TEST_CASE("every kind of block in both byte orders, however the bytes arrive") {
  const bool big = GENERATE(false, true);
  const std::size_t step = GENERATE(std::size_t{0}, std::size_t{1}, std::size_t{7}, std::size_t{500});
  const BlockBuilder b(big);
  const std::uint64_t t = kT0;
  const std::string bytes =
      b.section(2, 12345) + b.nanosecond_bus("can0") + b.interface("") + b.interface("", 1) +
      b.packet(t, can_packet(0x98FF0001, "abc"), 0, b.option_of(2, std::uint32_t{2})) +
      b.packet(t / 1000, can_packet(0x98FF0002, "defg"), 1,
               b.option(1, "a comment") + b.option_of(4, std::uint64_t{17}) + b.option(0x8123, "zz")) +
      b.packet(t / 1000 + 1, std::string(60, 'e'), 2) + b.block(0xBAD, "whatever") +
      b.block(0x80001234, "local") + b.simple(can_packet(0x98FF0003, "hijklmno")) +
      b.obsolete(t + 5, can_packet(0x98FF0004, "p"), 0, 3) +
      b.obsolete(t + 6, can_packet(0x98FF0005, "q"), 0, 0xFFFF) +
      b.statistics(t + 7, b.option_of(4, std::uint64_t{99}) + b.option_of(5, std::uint64_t{1})) +
      b.statistics(t + 8, b.option_of(0x8001, std::uint8_t{0})) +
      b.statistics(t + 9, b.option_of(7, std::uint64_t{4}) + b.option_of(0x8001, std::uint8_t{2})) +
      b.statistics(t + 10, "");
  const Seen seen = read_bytes(bytes, CaptureFormat::pcapng, step, 64);

  const auto buses = seen.notices<BusInfo>();
  REQUIRE(buses.size() == 2);
  CHECK(buses[0].name == "can0");
  CHECK(buses[1].name == "bus1");
  CHECK(seen.notices<Damage>().empty());

  const auto packets = seen.packets();
  REQUIRE(packets.size() == 6);
  for (std::size_t i = 0; i < packets.size(); ++i) CHECK(packets[i].event.number == i + 1);
  CHECK(packets[0].data == "abc");
  CHECK((packets[0].event.flags & kOutbound) != 0);
  CHECK(packets[1].event.bus == 1);
  CHECK(packets[1].event.time == kT0 / 1000 * 1000);
  CHECK((packets[1].event.flags & kOutbound) == 0);
  CHECK(packets[2].event.kind == EventKind::foreign);
  CHECK(packets[3].data == "hijklmno");
  CHECK((packets[3].event.flags & kUntimed) != 0);
  CHECK(packets[3].event.time == packets[2].event.time);
  CHECK(packets[4].event.time == kT0 + 5);
  CHECK(packets[5].data == "q");

  const auto lost = seen.notices<FramesLost>();
  REQUIRE(lost.size() == 2);
  CHECK(lost[0].frames == 17);
  CHECK(lost[1].frames == 3);
  for (std::size_t i = 0; i + 1 < seen.events.size(); ++i)
    if (seen.events[i].as<FramesLost>() != nullptr) {
      CHECK(seen.events[i + 1].is_packet());
      CHECK(seen.events[i + 1].event.time == seen.events[i].event.time);
    }

  const auto counters = seen.notices<Counters>();
  REQUIRE(counters.size() == 3);
  CHECK(counters[0].received == 99);
  CHECK(counters[0].interface_dropped == 1);
  CHECK_FALSE(counters[0].system_dropped.has_value());
  CHECK(counters[1].system_dropped == 4);
  CHECK_FALSE(counters[2].received.has_value());
  const auto links = seen.notices<LinkChange>();
  REQUIRE(links.size() == 2);
  CHECK(links[0].state == LinkState::down);
  CHECK(links[1].state == LinkState::paused);
  CHECK(seen.tally.packets == 5);
  CHECK(seen.tally.foreign == 1);
}

TEST_CASE("sections start their interfaces anew; the same name is the same bus") {
  const BlockBuilder little(false), big(true);
  const Seen seen =
      read_bytes(little.section() + little.nanosecond_bus("can0") + little.nanosecond_bus("can1") +
                 little.packet(1, can_packet(0x98FF0001, "a"), 1) + big.section() +
                 big.nanosecond_bus("can1") + big.packet(2, can_packet(0x98FF0001, "b"), 0) + big.section() +
                 big.nanosecond_bus("aux") + big.packet(3, can_packet(0x98FF0001, "c"), 0));
  const auto packets = seen.packets();
  REQUIRE(packets.size() == 3);
  CHECK(packets[0].event.bus == 1);
  CHECK(packets[1].event.bus == 1);
  CHECK(packets[2].event.bus == 2);
  CHECK(seen.notices<BusInfo>().size() == 3);
}

TEST_CASE("time stamp resolution and offset of an interface") {
  const BlockBuilder b;
  const Seen seen = read_bytes(
      b.section() +
      b.interface(b.option_of(9, std::uint8_t{0x80 | 10}) + b.option_of(14, std::int64_t{-100})) +
      b.interface(b.option_of(9, std::uint8_t{3})) + b.packet(1024 * 500 + 512, can_packet(0x98FF0001, "a")) +
      b.packet(1'700'000'000'123, can_packet(0x98FF0001, "a"), 1));
  const auto packets = seen.packets();
  REQUIRE(packets.size() == 2);
  CHECK(packets[0].event.time == 400'500'000'000);
  CHECK(packets[1].event.time == 1'700'000'000'123'000'000);
}

TEST_CASE("a simple packet is cut at the snap length") {
  const BlockBuilder b;
  ByteBuilder body(false);
  body.put(std::uint32_t{16}).text(can_packet(0x98FF0001, "abcd", 8));
  const Seen seen = read_bytes(b.section() + b.interface(b.option_of(9, std::uint8_t{9}), 227, 11) +
                               b.block(3, body.bytes));
  const auto packets = seen.packets();
  REQUIRE(packets.size() == 1);
  CHECK(packets[0].event.len == 3);
  CHECK(packets[0].event.flags == (kExtendedId | kShortData | kUntimed));
  CHECK(packets[0].event.time == kT0);
}

TEST_CASE("a long unknown block in the middle, longer than the window") {
  const BlockBuilder b;
  const std::string bytes =
      b.section() + b.nanosecond_bus("can0") + b.packet(1, can_packet(0x98FF0001, "a")) +
      b.block(0xBAD, std::string(3'000'000, 'x')) + b.packet(2, can_packet(0x98FF0001, "b"));
  const Seen seen = read_bytes(bytes);
  CHECK(seen.packets().size() == 2);
  CHECK(seen.notices<Damage>().empty());
}

TEST_CASE("more buses than can be") {
  const BlockBuilder b;
  std::string bytes;
  for (int i = 0; i < 3000; ++i) {
    bytes +=
        b.section() + b.nanosecond_bus("can" + std::to_string(i)) + b.packet(5, can_packet(0x98FF0001, "a"));
  }
  const Seen seen = read_bytes(bytes);
  CHECK(seen.tally.packets == BusTable::kMostBuses);
  CHECK(seen.tally.foreign == 3000 - BusTable::kMostBuses);
  CHECK(seen.notices<Damage>().size() == 3000 - BusTable::kMostBuses);
}
