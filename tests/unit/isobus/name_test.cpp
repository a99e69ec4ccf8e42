#include "isobus/name.hpp"

#include <catch2/catch.hpp>

using namespace tramlog;

namespace {
/// A NAME with nothing but group, class and function.
Name kind(std::uint64_t group, std::uint64_t device_class, std::uint64_t function) {
  return Name(group << 60 | device_class << 49 | function << 40);
}
}  // namespace

TEST_CASE("fields of a NAME") {
  const std::uint8_t claim[] = {0x45, 0x23, 0x01, 0x7D, 0x00, 0x80, 0x0C, 0xA0};
  const Name name = Name::from_claim(claim);
  CHECK(name.raw() == 0xA00C80007D012345);
  CHECK(name.hex() == "a00c80007d012345");
  CHECK(name.identity_number() == 0x12345);
  CHECK(name.manufacturer_code() == 1000);
  CHECK(name.ecu_instance() == 0);
  CHECK(name.function_instance() == 0);
  CHECK(name.function() == 128);
  CHECK(name.device_class() == 6);
  CHECK(name.device_class_instance() == 0);
  CHECK(name.industry_group() == 2);
  CHECK(name.self_configurable_address());

  const Name fixed(0x20088511FFFFFFFF);
  CHECK(fixed.identity_number() == 2097151);
  CHECK(fixed.manufacturer_code() == 2047);
  CHECK(fixed.ecu_instance() == 1);
  CHECK(fixed.function_instance() == 2);
  CHECK(fixed.function() == 133);
  CHECK(fixed.device_class() == 4);
  CHECK_FALSE(fixed.self_configurable_address());
}

TEST_CASE("NAME from hex") {
  CHECK(Name::from_hex("a00c80007d012345") == Name(0xA00C80007D012345));
  CHECK(Name::from_hex("A00C80007D012345") == Name(0xA00C80007D012345));
  CHECK(Name::from_hex("0000000000000000") == Name(0));
  CHECK(Name::from_hex("00000000000000ff")->hex() == "00000000000000ff");
  CHECK_FALSE(Name::from_hex("").has_value());
  CHECK_FALSE(Name::from_hex("a00c80007d01234").has_value());
  CHECK_FALSE(Name::from_hex("a00c80007d0123456").has_value());
  CHECK_FALSE(Name::from_hex("a00c80007d01234g").has_value());
  CHECK_FALSE(Name::from_hex("0xa00c80007d0123").has_value());
  CHECK_FALSE(Name::from_hex(" 00c80007d012345").has_value());
}

TEST_CASE("same job, other box") {
  const Name name(0xA00C80007D012345);
  CHECK(name.same_job(Name(0xA00C80007D000001)));  // other identity number
  CHECK(name.same_job(Name(0x200C80007D012345)));  // bit 63
  CHECK_FALSE(name.same_job(Name(0xA00C80017D012345)));
  CHECK_FALSE(name.same_job(Name(0xA00C80007D212345)));  // other maker
  CHECK(Name(0x200C80007D012345) < name);
}

TEST_CASE("terms of groups and classes") {
  CHECK(industry_group_term(2) == "agriculture and forestry");
  CHECK(industry_group_term(7) == "reserved");
  CHECK(industry_group_term(8) == "industry group 8");
  CHECK(device_class_term(2, 4) == "planters / seeders");
  CHECK(device_class_term(2, 17) == "sensor system");
  CHECK(device_class_term(2, 18) == "device class 18");
  CHECK(device_class_term(2, 29) == "product / material handling");
  CHECK(device_class_term(2, 30) == "device class 30");
  CHECK(device_class_term(2, 127) == "not available");
  CHECK(device_class_term(1, 4) == "device class 4");
}

TEST_CASE("terms of functions below 128 hold everywhere") {
  CHECK(function_term(kind(0, 0, 0)) == "engine");
  CHECK(function_term(kind(0, 0, 23)) == "vehicle navigation (GNSS receiver)");
  CHECK(function_term(kind(0, 0, 29)) == "virtual terminal");
  CHECK(function_term(kind(2, 4, 29)) == "virtual terminal");
  CHECK(function_term(kind(0, 0, 47)) == "information system");
  CHECK(function_term(kind(0, 0, 61)) == "file server or printer (older code)");
  CHECK(function_term(kind(0, 0, 82)) == "file server");
  CHECK(function_term(kind(0, 0, 90)) == "vehicle charging control");
  CHECK(function_term(kind(0, 0, 91)) == "function 91");
  CHECK(function_term(kind(5, 3, 255)) == "not available");
}

TEST_CASE("terms of functions from 128 depend on group and class") {
  CHECK(function_term(kind(2, 0, 130)) == "task controller (mapping computer)");
  CHECK(function_term(kind(0, 0, 130)) == "on-board data logger");
  CHECK(function_term(kind(2, 0, 134)) == "tractor ECU");
  CHECK(function_term(kind(2, 0, 138)) == "function 138");
  CHECK(function_term(kind(2, 1, 130)) == "rear hitch");
  CHECK(function_term(kind(2, 1, 132)) == "function 132");
  CHECK(function_term(kind(2, 4, 128)) == "rate control");
  CHECK(function_term(kind(2, 4, 129)) == "section on/off control");
  CHECK(function_term(kind(2, 4, 137)) == "down pressure");
  CHECK(function_term(kind(2, 6, 137)) == "function 137");
  CHECK(function_term(kind(2, 5, 130)) == "product pressure");
  CHECK(function_term(kind(2, 6, 130)) == "function 130");
  CHECK(function_term(kind(2, 7, 129)) == "header control");
  CHECK(function_term(kind(2, 7, 132)) == "function 132");
  CHECK(function_term(kind(2, 9, 128)) == "twine wrapper");
  CHECK(function_term(kind(2, 9, 132)) == "machine control");
  CHECK(function_term(kind(2, 11, 136)) == "unload control");
  CHECK(function_term(kind(2, 17, 132)) == "inertial measurement");
  CHECK(function_term(kind(2, 25, 128)) == "function 128");  // no source names this class
  CHECK(function_term(kind(1, 0, 130)) == "function 130");
  CHECK(function_term(kind(0, 3, 130)) == "function 130");
}
