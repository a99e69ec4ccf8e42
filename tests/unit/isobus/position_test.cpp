#include "isobus/position.hpp"

#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

using namespace tramlog;

namespace {
bool near(double a, double b) {
  return std::abs(a - b) < 1e-6;
}
}  // namespace

TEST_CASE("Positions of the three messages", "[position]") {
  // 52.1234567 = 521234567e-7 = 0x1F116887; -4.5 = -45000000e-7 = 0xFD515AC0
  const std::array<std::uint8_t, 8> rapid{0x87, 0x68, 0x11, 0x1F, 0xC0, 0x5A, 0x51, 0xFD};
  const auto a = parse_position(129025, rapid);
  REQUIRE(a);
  CHECK(near(a->latitude_deg, 52.1234567));
  CHECK(near(a->longitude_deg, -4.5));

  // 65267: (52.0 + 210) * 1e7 = 2620000000 = 0x9C2A0700; (4.0 + 210) * 1e7 = 2140000000 = 0x7F8DCF00
  const std::array<std::uint8_t, 8> vehicle{0x00, 0x07, 0x2A, 0x9C, 0x00, 0xCF, 0x8D, 0x7F};
  const auto b = parse_position(65267, vehicle);
  REQUIRE(b);
  CHECK(near(b->latitude_deg, 52.0));
  CHECK(near(b->longitude_deg, 4.0));

  // 129029: latitude B8-15: -1.0 degree = -10^16 = 0xFFDC790D903F0000; longitude B16-23: 2 degrees =
  // 0x00470DE4DF820000
  std::vector<std::uint8_t> fix(43, 0);
  const std::array<std::uint8_t, 16> degrees{0x00, 0x00, 0x3F, 0x90, 0x0D, 0x79, 0xDC, 0xFF,
                                             0x00, 0x00, 0x82, 0xDF, 0xE4, 0x0D, 0x47, 0x00};
  std::copy(degrees.begin(), degrees.end(), fix.begin() + 7);
  const auto c = parse_position(129029, fix);
  REQUIRE(c);
  CHECK(near(c->latitude_deg, -1.0));
  CHECK(near(c->longitude_deg, 2.0));
}

TEST_CASE("No position", "[position]") {
  const std::array<std::uint8_t, 8> none{0xFF, 0xFF, 0xFF, 0x7F, 0xFF, 0xFF, 0xFF, 0x7F};
  const std::array<std::uint8_t, 8> all_ones{0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF};
  CHECK_FALSE(parse_position(129025, none));
  CHECK_FALSE(parse_position(65267, all_ones));
  CHECK_FALSE(parse_position(129029, all_ones));  // too short
  CHECK_FALSE(parse_position(129025, {}));
  CHECK_FALSE(parse_position(129026, all_ones));
  const std::vector<std::uint8_t> missing = [] {
    std::vector<std::uint8_t> bytes(43, 0xFF);
    bytes[14] = bytes[22] = 0x7F;
    return bytes;
  }();
  CHECK_FALSE(parse_position(129029, missing));
}
