// Damaged pcapng files: what is whole is read, what is lost is told.
#include <catch2/catch.hpp>

#include "capture_bytes.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

constexpr unsigned kPackets = 10;

struct SmallFile {
  std::string bytes;
  std::vector<std::size_t> starts;  // of the blocks; the first two are section header and interface
};

/// Packet i has identifier 0x18FF0000 + i, i % 8 + 1 bytes of 'a' + i, and every third has a flags option.
SmallFile small_file(bool big) {
  const BlockBuilder b(big);
  SmallFile file;
  const auto add = [&file](const std::string& block) {
    file.starts.push_back(file.bytes.size());
    file.bytes += block;
  };
  add(b.section());
  add(b.nanosecond_bus("can0"));
  for (unsigned i = 0; i < kPackets; ++i) {
    const std::string payload(i % 8 + 1, static_cast<char>('a' + i));
    add(b.packet(kT0 + i * 1000, can_packet(0x98FF0000 + i, payload), 0,
                 i % 3 == 0 ? b.option_of(2, std::uint32_t{1}) : ""));
  }
  file.starts.push_back(file.bytes.size());
  return file;
}

/// Which of the packets came out as they went in.
std::vector<bool> intact(const Seen& seen) {
  std::vector<bool> found(kPackets, false);
  for (const SeenEvent& packet : seen.packets()) {
    const std::uint32_t i = packet.event.id & 0xFF;
    if (i < kPackets && packet.event.id == 0x18FF0000 + i && packet.event.time == kT0 + i * 1000 &&
        packet.data == std::string(i % 8 + 1, static_cast<char>('a' + i)))
      found[i] = true;
  }
  return found;
}

std::size_t block_of(const SmallFile& file, std::size_t offset) {
  std::size_t block = 0;
  while (block + 1 < file.starts.size() && file.starts[block + 1] <= offset) ++block;
  return block;
}

/// All packets outside the block that holds `offset` and its neighbours.
bool others_intact(const SmallFile& file, const Seen& seen, std::size_t offset) {
  const std::size_t hit = block_of(file, offset);
  const std::vector<bool> found = intact(seen);
  for (std::size_t i = 0; i < kPackets; ++i) {
    const std::size_t block = i + 2;
    if (block + 1 >= hit && block <= hit + 1) continue;
    if (!found[i]) return false;
  }
  return true;
}

bool tells_of_loss(const Seen& seen) {
  return seen.packets().size() >= kPackets || !seen.notices<Damage>().empty();
}

}  // namespace

TEST_CASE("cut at every byte: whole packets are read, the rest is one damage") {
  const SmallFile file = small_file(GENERATE(false, true));
  for (std::size_t size = 28; size < file.bytes.size(); ++size) {
    const Seen seen = read_bytes(file.bytes.substr(0, size));
    const std::size_t block = block_of(file, size);
    CAPTURE(size);
    CHECK(seen.packets().size() == (block < 2 ? 0 : block - 2));
    const auto damage = seen.notices<Damage>();
    if (size == file.starts[block]) {
      CHECK(damage.empty());
    } else {
      REQUIRE(damage.size() == 1);
      CHECK(damage[0].reason == "file ends inside a block");
      CHECK(damage[0].offset == file.starts[block]);
      CHECK(damage[0].offset + damage[0].bytes == size);
    }
  }
}

TEST_CASE("every byte changed in several ways: only the hit block and its neighbours may suffer") {
  const bool big = GENERATE(false, true);
  const SmallFile file = small_file(big);
  for (std::size_t at = 0; at < file.bytes.size(); ++at) {
    // The descriptions of the interface are believed: another link type or resolution changes all that
    // follows.
    if (block_of(file, at) == 1 && at >= file.starts[1] + 8 && at + 4 < file.starts[2]) continue;
    for (const int mask : {0xFF, 0x01, 0x80, 0x10, 0x04}) {
      std::string bytes = file.bytes;
      bytes[at] = static_cast<char>(bytes[at] ^ mask);
      const Seen seen = read_bytes(bytes);
      CAPTURE(at, mask);
      CHECK(others_intact(file, seen, at));
      CHECK(tells_of_loss(seen));
    }
  }
}

TEST_CASE("bytes lost or added at every place") {
  const bool big = GENERATE(false, true);
  const std::size_t count =
      GENERATE(std::size_t{1}, std::size_t{2}, std::size_t{3}, std::size_t{4}, std::size_t{11});
  const SmallFile file = small_file(big);
  for (std::size_t at = 0; at + count <= file.bytes.size(); ++at) {
    if (block_of(file, at) == 1 || block_of(file, at + count) == 1) continue;  // see the next test
    std::string lost = file.bytes;
    lost.erase(at, count);
    const Seen without = read_bytes(lost);
    CAPTURE(at, count);
    CHECK(others_intact(file, without, at));
    CHECK(tells_of_loss(without));
    std::string added = file.bytes;
    added.insert(at, count, '\x06');
    const Seen with = read_bytes(added);
    CHECK(others_intact(file, with, at));
    CHECK(tells_of_loss(with));
  }
}

TEST_CASE("eight lost bytes do not make a frame out of two blocks of one length") {
  const BlockBuilder b(GENERATE(false, true));
  const std::size_t hit = GENERATE(std::size_t{3}, kPackets - 2);
  std::string bytes = b.section() + b.nanosecond_bus("can0");
  std::size_t start = 0;
  const auto payload = [](std::size_t i) { return std::string(8, static_cast<char>('a' + i)); };
  for (unsigned i = 0; i < kPackets; ++i) {
    if (i == hit) start = bytes.size();
    bytes += b.packet(kT0 + i * 1000, can_packet(0x98FF0000 + i, payload(i)), 0, "");
  }
  constexpr std::size_t kLength = 48;
  for (std::size_t at = 8; at + 8 <= kLength; ++at) {
    std::string lost = bytes;
    lost.erase(start + at, 8);
    const Seen seen = read_bytes(lost);
    CAPTURE(hit, at);
    CHECK(seen.packets().size() == kPackets - 1);
    for (const SeenEvent& packet : seen.packets()) {
      const std::uint32_t i = packet.event.id & 0xFF;
      CHECK(i != hit);
      CHECK(packet.data == payload(i));
    }
    const auto damage = seen.notices<Damage>();
    REQUIRE(damage.size() == 1);
    CHECK(damage[0].offset == start);
    CHECK(damage[0].bytes == kLength - 8);
  }
}

TEST_CASE("a payload that looks like the begin of a block is a payload") {
  const BlockBuilder b(GENERATE(false, true));
  std::string bytes = b.section() + b.nanosecond_bus("can0");
  for (const char byte : {'\x06', '\x05', '\x01'})
    for (const bool first : {false, true})
      bytes += b.packet(kT0,
                        can_packet(0x98FF0000, std::string(4, 'x') + (first ? std::string{byte, 0, 0, 0}
                                                                            : std::string{0, 0, 0, byte})),
                        0, "");
  const Seen seen = read_bytes(bytes);
  CHECK(seen.packets().size() == 6);
  CHECK(seen.notices<Damage>().empty());
}

TEST_CASE("a lost interface description is taken for granted, and that is told") {
  const bool big = GENERATE(false, true);
  const SmallFile file = small_file(big);
  SECTION("section header and interface gone, or only the interface") {
    for (const std::size_t from : {file.starts[0], file.starts[1]}) {
      std::string bytes = file.bytes;
      bytes.replace(from, file.starts[2] - from, file.starts[2] - from, '\xA5');
      const Seen seen = read_bytes(bytes);
      CHECK(seen.packets().size() == kPackets);
      CHECK(intact(seen) == std::vector<bool>(kPackets, true));
      const auto damage = seen.notices<Damage>();
      REQUIRE(damage.size() == 2);
      CHECK(damage[1].reason == "description of interface 0 is lost: taken as CAN with nanoseconds");
      REQUIRE(seen.notices<BusInfo>().size() == 1);
      CHECK(seen.notices<BusInfo>()[0].name == "bus0");
    }
  }
  SECTION("in a later section, as in the one before") {
    for (const std::size_t from : {file.starts[0], file.starts[1]}) {
      std::string second = file.bytes;
      second.replace(from + 4, 4, 4, '\x33');  // the length of that block
      second.replace(file.starts[1] + 4, 4, 4, '\x33');
      const Seen seen = read_bytes(file.bytes + second);
      CHECK(seen.packets().size() == 2 * kPackets);
      for (const SeenEvent& packet : seen.packets()) CHECK(packet.event.bus == 0);
      CHECK(seen.notices<BusInfo>().size() == 1);
      CHECK(seen.notices<Damage>().back().reason ==
            "description of interface 0 is lost: taken as in the section before");
    }
  }
}

TEST_CASE("a lost interface description among others keeps the numbers of the others") {
  const BlockBuilder b;
  std::string first = b.nanosecond_bus("can0");
  first[4] = '\x77';
  const Seen seen = read_bytes(b.section() + first + b.nanosecond_bus("can1") +
                               b.packet(kT0, can_packet(0x98FF0001, "a"), 1) +
                               b.packet(kT0, can_packet(0x98FF0002, "b"), 0));
  const auto packets = seen.packets();
  REQUIRE(packets.size() == 2);
  const auto buses = seen.notices<BusInfo>();
  REQUIRE(buses.size() == 2);
  CHECK(buses[packets[0].event.bus].name == "can1");
  CHECK(buses[packets[1].event.bus].name == "bus0");
}

TEST_CASE("an interface number that nothing explains is damage, not a bus") {
  const BlockBuilder b;
  const Seen seen =
      read_bytes(b.section() + b.nanosecond_bus("can0") + b.packet(kT0, can_packet(0x98FF0001, "a"), 1) +
                 b.packet(kT0, can_packet(0x98FF0002, "b"), 0));
  CHECK(seen.packets().size() == 1);
  REQUIRE(seen.notices<Damage>().size() == 1);
  CHECK(seen.notices<Damage>()[0].reason == "packet of an interface that is not described");
  CHECK(seen.notices<BusInfo>().size() == 1);
}

TEST_CASE("zeros after a power loss are one damage, in the middle and at the end") {
  const SmallFile file = small_file(false);
  const std::size_t zeros = GENERATE(std::size_t{16}, std::size_t{5003}, std::size_t{700'000});
  const std::string tail = file.bytes.substr(file.starts[7]);
  const Seen seen = read_bytes(file.bytes + std::string(zeros, '\0') + tail + std::string(zeros, '\0'));
  CHECK(seen.packets().size() == kPackets + 5);
  const auto damage = seen.notices<Damage>();
  REQUIRE(damage.size() == 2);
  CHECK(damage[0].offset == file.bytes.size());
  CHECK(damage[0].bytes == zeros);
  CHECK(damage[0].reason == "zeros instead of a block");
  CHECK(damage[1].bytes == zeros);
  CHECK(seen.tally.damaged_bytes == 2 * zeros);
}

TEST_CASE("a section in the other byte order is found behind damage") {
  const SmallFile little = small_file(false), big = small_file(true);
  std::string second = big.bytes;
  second[5] = '\x7F';  // the section header's length
  const Seen seen = read_bytes(little.bytes + second);
  CHECK(seen.packets().size() == 2 * kPackets);
  CHECK(seen.packets().back().event.time == kT0 + (kPackets - 1) * 1000);
}

TEST_CASE("a block that claims to be huge costs nothing but itself") {
  const BlockBuilder b;
  std::string huge = b.packet(kT0, can_packet(0x98FF0001, "a"));
  const std::uint32_t claims = GENERATE(0u, 4u, 13u, 1u << 20, 16u << 20, 0xFFFFFFFCu);
  huge.replace(4, 4, ByteBuilder(false).put(claims).bytes);
  std::string bytes = b.section() + b.nanosecond_bus("can0") + huge;
  for (unsigned i = 0; i < 50'000; ++i) bytes += b.packet(kT0 + i, can_packet(0x98FF0002, "12345678"));
  const Seen seen = read_bytes(bytes);
  CHECK(seen.packets().size() == 50'000);
  REQUIRE(seen.notices<Damage>().size() == 1);
  CHECK(seen.notices<Damage>()[0].bytes == huge.size());
}

TEST_CASE("noise gives damage and no end of memory or time") {
  std::string noise(3'000'000, '\0');
  std::uint32_t state = 7;
  for (char& byte : noise) byte = static_cast<char>((state = state * 1'664'525 + 1'013'904'223) >> 24);
  const SmallFile file = small_file(false);
  const Seen seen = read_bytes(file.bytes + noise + file.bytes);
  CHECK(seen.packets().size() == 2 * kPackets);
  CHECK(seen.notices<Damage>().size() == 1);
}

TEST_CASE("what is found after damage does not depend on how the bytes arrive") {
  SmallFile file = small_file(false);
  std::string bytes;
  for (std::size_t i = 0; i < 40; ++i) {
    std::string part = file.bytes;
    part.erase(28 + i * 9, i);
    bytes += part + std::string(i * i * 50, '\0');
  }
  const Seen at_once = read_bytes(bytes, CaptureFormat::pcapng, 0, 1 << 20);
  const Seen in_bits = read_bytes(bytes, CaptureFormat::pcapng, 13, 64);
  CHECK(at_once.tally.fingerprint.text() == in_bits.tally.fingerprint.text());
  CHECK(at_once.tally.damaged_bytes == in_bits.tally.damaged_bytes);
  CHECK(at_once.events.size() == in_bits.events.size());
}
