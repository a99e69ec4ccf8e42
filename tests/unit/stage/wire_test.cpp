#include "stage/wire.hpp"

#include <catch2/catch.hpp>
#include <string>
#include <vector>

#include "stage/table_reader.hpp"

using namespace tramlog;
using namespace tramlog::stage;

namespace {

WireFrame frame(std::uint32_t id, const std::string& hex) {
  WireFrame made;
  made.id = id;
  const auto bytes = bytes_from_hex(hex);
  REQUIRE(bytes);
  made.len = static_cast<std::uint8_t>(bytes->size());
  std::copy(bytes->begin(), bytes->end(), made.data);
  return made;
}

}  // namespace

TEST_CASE("the CRC of the catalogue's check string") {
  const std::string text = "123456789";
  CHECK(crc15({reinterpret_cast<const std::uint8_t*>(text.data()), text.size()}) == 0x059E);
}

TEST_CASE("frame lengths of the fact sheet's vectors") {
  struct Vector {
    std::uint32_t id;
    std::string data;
    unsigned crc, region, stuff, bits;
  };
  const auto vector = GENERATE(values<Vector>({
      {0x18EEFF80, "01 02 03 04 05 06 07 08", 0x6FA1, 118, 13, 141},
      {0x18EEFFF0, "01 00 00 7D 00 86 00 A0", 0x2C42, 118, 13, 141},
      {0x18EAFFFE, "00 EE 00", 0x29D5, 78, 7, 95},
      {0x0CFE48F0, "FF FF FF FF FF FF FF FF", 0x14FF, 118, 15, 143},
      {0x18FECA80, "FF FF 00 00 00 00 FF FF", 0x7252, 118, 15, 143},
      {0x1CECFF80, "20 0E 00 02 FF CA FE 00", 0x7AC7, 118, 12, 140},
      {0x1CE6FF26, "FE 80 E8 03 E9 03 00 00", 0x6784, 118, 9, 137},
      {0x0CCBFFF7, "FE FF FF FF 01 00 00 FF", 0x6F40, 118, 15, 143},
      {0x18FFFFFF, "", 0x2B77, 54, 6, 70},
      {0x00000000, "00 00 00 00 00 00 00 00", 0x3DAF, 118, 19, 147},
  }));
  CAPTURE(vector.id);
  const FrameLength length = frame_length(frame(vector.id, vector.data));
  CHECK(length.crc == vector.crc);
  CHECK(length.stuffed_region_bits == vector.region);
  CHECK(length.stuff_bits == vector.stuff);
  CHECK(length.bits() == vector.bits);
}

TEST_CASE("a remote frame has no data on the wire") {
  WireFrame remote = frame(0x18FF5144, "");
  remote.remote = true;
  remote.len = 8;
  CHECK(frame_length(remote).stuffed_region_bits == 54);
}

TEST_CASE("a standard frame is shorter") {
  WireFrame standard = frame(0x321, "DE AD");
  standard.extended = false;
  CHECK(frame_length(standard).stuffed_region_bits == 34 + 16);
}

TEST_CASE("the lower identifier wins; standard before extended with the same base; data before remote") {
  WireFrame standard = frame(0x18F, ""), extended = frame(0x18F << 18, ""), lower = frame(0x0CFE48F0, "");
  standard.extended = false;
  WireFrame remote = standard;
  remote.remote = true;
  CHECK(arbitration_key(standard) < arbitration_key(extended));
  CHECK(arbitration_key(standard) < arbitration_key(remote));
  CHECK(arbitration_key(remote) < arbitration_key(extended));
  CHECK(arbitration_key(lower) < arbitration_key(frame(0x18EEFF80, "")));
}
