#include "isobus/diagnostics.hpp"

#include <catch2/catch.hpp>

using namespace tramlog;
using Data = std::vector<std::uint8_t>;

TEST_CASE("no fault") {
  const DtcList list = parse_dtcs(Data{0xFF, 0xFF, 0, 0, 0, 0, 0xFF, 0xFF});
  CHECK(list.dtcs.empty());
  CHECK_FALSE(list.malformed);
  CHECK(list.lamps.malfunction == Lamp::not_available);
  CHECK(list.lamps.protect == Lamp::not_available);
}

TEST_CASE("one fault in a frame") {
  const DtcList list = parse_dtcs(Data{0x46, 0xFF, 0x08, 0xF0, 0xE9, 0x03, 0xFF, 0xFF});
  CHECK_FALSE(list.malformed);
  CHECK(list.lamps.malfunction == Lamp::on);
  CHECK(list.lamps.red_stop == Lamp::off);
  CHECK(list.lamps.amber_warning == Lamp::on);
  CHECK(list.lamps.protect == Lamp::error);
  REQUIRE(list.dtcs.size() == 1);
  CHECK(list.dtcs[0].spn == 520200);
  CHECK(is_proprietary_spn(list.dtcs[0].spn));
  CHECK(list.dtcs[0].fmi == 9);
  CHECK(list.dtcs[0].occurrence_count == 3);
  CHECK_FALSE(list.dtcs[0].old_conversion);
}

TEST_CASE("several faults, in order") {
  const DtcList list =
      parse_dtcs(Data{0xFF, 0xFF, 0x50, 0x08, 0x1F, 0x01, 0xA8, 0x00, 0x12, 0x7F, 0xB8, 0x04, 0x03, 0x8A});
  CHECK_FALSE(list.malformed);
  REQUIRE(list.dtcs.size() == 3);
  CHECK(list.dtcs[0].spn == 2128);
  CHECK(list.dtcs[0].fmi == 31);
  CHECK(list.dtcs[1].spn == 168);
  CHECK(list.dtcs[1].fmi == 18);
  CHECK_FALSE(list.dtcs[1].occurrence_count.has_value());
  CHECK(list.dtcs[2].spn == 1208);
  CHECK(list.dtcs[2].old_conversion);
  CHECK(list.dtcs[2].occurrence_count == 10);
}

TEST_CASE("padding is no fault") {
  CHECK(parse_dtcs(Data{0, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}).dtcs.empty());
  const DtcList list = parse_dtcs(Data{0, 0xFF, 0xA8, 0, 0x12, 1, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
  CHECK(list.dtcs.size() == 1);
  CHECK_FALSE(list.malformed);
}

TEST_CASE("short or torn messages") {
  CHECK(parse_dtcs({}).malformed);
  CHECK(parse_dtcs(Data{0x40}).malformed);
  CHECK(parse_dtcs(Data{0x40}).lamps.malfunction == Lamp::on);
  CHECK(parse_dtcs(Data{0xFF, 0xFF, 0xA8, 0, 0x12}).malformed);
  CHECK_FALSE(parse_dtcs(Data{0xFF, 0xFF, 0xA8, 0, 0x12, 1}).malformed);
  const DtcList torn = parse_dtcs(Data{0xFF, 0xFF, 0xA8, 0, 0x12, 1, 0x50, 0x08, 0x1F});
  CHECK(torn.malformed);
  CHECK(torn.dtcs.size() == 1);
}
