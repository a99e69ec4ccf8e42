#include "isobus/acknowledgement.hpp"

#include <catch2/catch.hpp>
#include <vector>

using namespace tramlog;
using Data = std::vector<std::uint8_t>;

TEST_CASE("requests of three bytes and more") {
  CHECK(parse_request(Data{0xDA, 0xFE, 0x00}) == 0xFEDAu);
  CHECK(parse_request(Data{0xDA, 0xFE, 0x00, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}) == 0xFEDAu);
  CHECK(parse_request(Data{0x05, 0xF8, 0x01}) == 0x1F805u);
  CHECK_FALSE(parse_request(Data{0xDA, 0xFE}).has_value());
  CHECK_FALSE(parse_request({}).has_value());
  CHECK_FALSE(parse_request(Data{0x00, 0x00, 0x04}).has_value());
  CHECK(parse_request(Data{0x80, 0xEE, 0x00}) == 0xEE00u);  // destination left in a PDU1 number
}

TEST_CASE("requests for a repetition rate") {
  const auto r = parse_repetition_rate_request(Data{0xE4, 0xF0, 0x00, 0xE8, 0x03, 0xFF, 0xFF, 0xFF});
  REQUIRE(r);
  CHECK(r->pgn == 0xF0E4);
  CHECK(r->period_ms == 1000);
  CHECK_FALSE(parse_repetition_rate_request(Data{0xE4, 0xF0, 0x00, 0xE8}).has_value());
}

TEST_CASE("acknowledgements") {
  const auto nack = parse_acknowledgement(Data{1, 0xFF, 0xFF, 0xFF, 0x26, 0xDA, 0xFE, 0x00});
  REQUIRE(nack);
  CHECK(nack->kind == AcknowledgementKind::negative);
  CHECK(nack->acknowledged == 0x26);
  CHECK(nack->pgn == 0xFEDA);

  const auto oldest = parse_acknowledgement(Data{0, 0x11, 0xFF, 0xFF, 0xFF, 0xC5, 0xFD, 0x00});
  REQUIRE(oldest);
  CHECK(oldest->kind == AcknowledgementKind::positive);
  CHECK(oldest->group_function == 0x11);
  CHECK_FALSE(oldest->acknowledged.has_value());

  CHECK(parse_acknowledgement(Data{2, 0, 0, 0, 0, 0, 0, 0})->kind == AcknowledgementKind::access_denied);
  CHECK(parse_acknowledgement(Data{3, 0, 0, 0, 0, 0, 0, 0})->kind == AcknowledgementKind::busy);
  CHECK(parse_acknowledgement(Data{7, 0, 0, 0, 0, 0, 0, 0})->kind == AcknowledgementKind::reserved);
  CHECK(parse_acknowledgement(Data{7, 0, 0, 0, 0, 0, 0, 0})->control == 7);
  CHECK_FALSE(parse_acknowledgement(Data{1, 0xFF, 0xFF, 0xFF, 0x26, 0xDA, 0xFE}).has_value());
  CHECK_FALSE(parse_acknowledgement(Data{1, 0, 0, 0, 0, 0, 0, 0x10}).has_value());
}

TEST_CASE("texts of acknowledgements") {
  CHECK(acknowledgement_text(0) == "acknowledged");
  CHECK(acknowledgement_text(1) == "not supported");
  CHECK(acknowledgement_text(2) == "access denied");
  CHECK(acknowledgement_text(3) == "busy");
  CHECK(acknowledgement_text(7) == "control byte 7");
}
