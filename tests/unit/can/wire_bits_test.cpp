#include "can/wire_bits.hpp"

#include <catch2/catch.hpp>
#include <random>
#include <vector>

#include "can/can_id.hpp"

using namespace tramlog;

namespace {

struct Vector {
  std::uint32_t id;
  std::vector<std::uint8_t> data;
  unsigned bits_with_ifs;
};

// The same by plain arithmetic on a list of bits, nothing shared with the code under test.
unsigned slow_bits(std::uint32_t id, bool extended, bool remote, const std::vector<std::uint8_t>& data, unsigned dlc) {
  std::vector<int> bits{0};
  const auto put = [&](std::uint32_t value, int width) {
    for (int i = width - 1; i >= 0; --i) bits.push_back(static_cast<int>(value >> i & 1));
  };
  if (extended) {
    put(id >> 18, 11);
    put(3, 2);
    put(id & 0x3FFFF, 18);
    put(remote, 1);
    put(0, 2);
  } else {
    put(id, 11);
    put(remote, 1);
    put(0, 2);
  }
  put(dlc, 4);
  for (const auto byte : data) put(byte, 8);
  unsigned crc = 0;
  for (const int bit : bits) {
    const bool flip = (static_cast<unsigned>(bit) ^ (crc >> 14)) & 1;
    crc = (crc << 1) & 0x7FFF;
    if (flip) crc ^= 0x4599;
  }
  put(crc, 15);
  unsigned stuffed = 0;
  int last = -1;
  int row = 0;
  for (const int bit : bits) {
    row = bit == last ? row + 1 : 1;
    last = bit;
    if (row == 5) {
      ++stuffed;
      last = 1 - bit;
      row = 1;
    }
  }
  return static_cast<unsigned>(bits.size()) + stuffed + 13;
}

}  // namespace

TEST_CASE("frame lengths equal the fact sheet's vectors (9.2)") {
  const std::vector<std::uint8_t> ff(8, 0xFF), zero(8, 0);
  const Vector vectors[] = {
      {0x18EEFF80, {1, 2, 3, 4, 5, 6, 7, 8}, 144},
      {0x18EEFFF0, {0x01, 0x00, 0x00, 0x7D, 0x00, 0x86, 0x00, 0xA0}, 144},
      {0x18EAFFFE, {0x00, 0xEE, 0x00}, 98},
      {0x0CFE48F0, ff, 146},
      {0x18FECA80, {0xFF, 0xFF, 0, 0, 0, 0, 0xFF, 0xFF}, 146},
      {0x1CECFF80, {0x20, 0x0E, 0x00, 0x02, 0xFF, 0xCA, 0xFE, 0x00}, 143},
      {0x1CE6FF26, {0xFE, 0x80, 0xE8, 0x03, 0xE9, 0x03, 0x00, 0x00}, 140},
      {0x0CCBFFF7, {0xFE, 0xFF, 0xFF, 0xFF, 0x01, 0x00, 0x00, 0xFF}, 146},
      {0x18FFFFFF, {}, 73},
      {0x00000000, zero, 150},
  };
  for (const auto& v : vectors) {
    const auto len = static_cast<unsigned>(v.data.size());
    CHECK(wire_bits(wire_header(v.id, true, false, len), v.data.data(), len) == v.bits_with_ifs);
  }
}

TEST_CASE("frame lengths equal a plain count for random frames of every kind and length") {
  std::mt19937 random(7);
  for (int i = 0; i < 20000; ++i) {
    const bool extended = random() % 4 != 0;
    const bool remote = random() % 8 == 0;
    const auto len = static_cast<unsigned>(random() % 9);
    const auto id = static_cast<std::uint32_t>(random()) & (extended ? 0x1FFFFFFFu : 0x7FFu);
    std::vector<std::uint8_t> data;
    if (!remote)
      for (unsigned k = 0; k < len; ++k) data.push_back(static_cast<std::uint8_t>(random() % 3 ? random() : 0));
    Event event;
    event.id = id;
    event.len = static_cast<std::uint8_t>(len);
    event.data = data.data();
    event.flags = static_cast<std::uint8_t>((extended ? kExtendedId : 0) | (remote ? kRemote : 0));
    REQUIRE(wire_bits(event) == slow_bits(id, extended, remote, data, len));
  }
}

TEST_CASE("an identifier comes apart as ISO 11783-3 says") {
  STATIC_REQUIRE(pgn_of(0x18EAFFFE) == 0xEA00);
  STATIC_REQUIRE(destination_of(0x18EA26FE) == 0x26);
  STATIC_REQUIRE(pgn_of(0x0CFE48F0) == 0xFE48);
  STATIC_REQUIRE(destination_of(0x0CFE48F0) == 0xFF);
  STATIC_REQUIRE(pgn_of(0x0DF8051C) == 0x1F805);
  STATIC_REQUIRE(priority_of(0x0CFE48F0) == 3);
  STATIC_REQUIRE(make_id(3, 0xFE48, 0xF0) == 0x0CFE48F0);
  STATIC_REQUIRE(make_id(6, 0xEA00, 0xFE, 0xFF) == 0x18EAFFFE);
}
