#include "isobus/identification.hpp"

#include <catch2/catch.hpp>

using namespace tramlog;
using namespace std::string_literals;

namespace {
using Texts = std::vector<std::string>;
Bytes bytes_of(const std::string& text) {
  return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
}
SoftwareIdentification software(const std::string& text) {
  return parse_software_identification(bytes_of(text));
}
}  // namespace

TEST_CASE("software identification as it should be") {
  const auto one = software(
      "\x01"
      "1.4.0*\xFF");
  CHECK(one.texts == Texts{"1.4.0"});
  CHECK(one.count_told == 1u);
  CHECK_FALSE(one.count_disagrees);

  const auto two = software("\x02MTR 4.2*BOOT 1.0*");
  CHECK(two.texts == Texts{"MTR 4.2", "BOOT 1.0"});
  CHECK_FALSE(two.count_disagrees);
}

TEST_CASE("software identification without its count byte") {
  const auto s = software("1.4.0*2.0*");
  CHECK(s.texts == Texts{"1.4.0", "2.0"});
  CHECK_FALSE(s.count_told.has_value());
  CHECK_FALSE(s.count_disagrees);
  CHECK(software(" 1.4*").texts == Texts{"1.4"});  // 0x20 is text already
}

TEST_CASE("software identification without its last delimiter") {
  CHECK(software("\x02"
                 "A*B")
            .texts == Texts{"A", "B"});
  CHECK_FALSE(software("\x02"
                       "A*B")
                  .count_disagrees);
}

TEST_CASE("software identification that ends in 0x00 or padding") {
  CHECK(software("\x01"
                 "1.4.0*\0"s)
            .texts == Texts{"1.4.0"});
  CHECK(software("\x01"
                 "1.4.0\0"s)
            .texts == Texts{"1.4.0"});
  CHECK(software("\x02"
                 "A\0*B\0*"s)
            .texts == Texts{"A", "B"});
  CHECK(software("\x01"
                 "A*\0\xFF\xFF\xFF\xFF"s)
            .texts == Texts{"A"});
  CHECK(software("A\xFF\xFF\xFF\xFF\xFF\xFF\xFF").texts == Texts{"A"});
}

TEST_CASE("software identification whose count disagrees") {
  CHECK(software("\x03"
                 "A*B*")
            .count_disagrees);
  CHECK(software("\x01"
                 "A*B*")
            .count_disagrees);
  CHECK(software("\x01"
                 "A*B*")
            .texts == Texts{"A", "B"});
  CHECK(software("\x01\xFF\xFF\xFF").count_disagrees);
  CHECK_FALSE(software("\0\xFF\xFF\xFF"s).count_disagrees);
}

TEST_CASE("software identification with empty fields") {
  CHECK(software("\x03*B**").texts == Texts{"", "B", ""});
  CHECK_FALSE(software("\x03*B**").count_disagrees);
  CHECK(software("").texts.empty());
  CHECK(software("\xFF\xFF\xFF\xFF\xFF\xFF\xFF\xFF").texts.empty());
}

TEST_CASE("software texts are trimmed and safe to print") {
  CHECK(software("\x01  4.2 \t*").texts == Texts{"4.2"});
  CHECK(software("\x01"
                 "a\x1B[m\xE9*")
            .texts == Texts{"a\\x1b[m\u00e9"});
}

TEST_CASE("software identification is capped") {
  std::string many = "\x1F";
  for (int i = 0; i < 300; ++i) many += "v*";
  const auto s = software(many);
  CHECK(s.texts.size() == 125);
  CHECK(s.count_disagrees);
  CHECK(software("\x01" + std::string(1000, 'x') + "*").texts == Texts{std::string(200, 'x')});
}

TEST_CASE("ECU identification of five or six fields") {
  const auto six = parse_ecu_identification(bytes_of("PN-1*SN-2*boom left*MTR*Larkfield*HW 3*"));
  CHECK(six.part_number == "PN-1");
  CHECK(six.serial_number == "SN-2");
  CHECK(six.location == "boom left");
  CHECK(six.type == "MTR");
  CHECK(six.manufacturer == "Larkfield");
  CHECK(six.hardware_version == "HW 3");

  const auto five = parse_ecu_identification(bytes_of("PN-1**\xFF*MTR*Larkfield"));
  CHECK(five.serial_number.empty());
  CHECK(five.location.empty());
  CHECK(five.type == "MTR");
  CHECK(five.manufacturer == "Larkfield");
  CHECK(five.hardware_version.empty());
}

TEST_CASE("further fields are passed over") {
  CHECK(parse_ecu_identification(bytes_of("1*2*3*4*5*6*7*8*")).hardware_version == "6");
}

TEST_CASE("product and component identification") {
  const auto product = parse_product_identification(bytes_of("LF-9 *Larkfield*Drill 9*\xFF"));
  CHECK(product.code == "LF-9");
  CHECK(product.brand == "Larkfield");
  CHECK(product.model == "Drill 9");
  CHECK(parse_product_identification(bytes_of(std::string(70, 'c') + "*")).code.size() == 50);

  const auto component = parse_component_identification(bytes_of("make*model*serial"));
  CHECK(component.make == "make");
  CHECK(component.model == "model");
  CHECK(component.serial_number == "serial");
  CHECK(component.unit_number.empty());
}

TEST_CASE("functionalities") {
  const std::uint8_t data[] = {0xFF, 3, 0, 1, 1, 0x04, 12, 1, 2, 1, 8, 8, 1, 0};
  const auto list = parse_functionalities(data);
  REQUIRE(list.size() == 3);
  CHECK(list[0].number == 0);
  CHECK(list[0].options == std::vector<std::uint8_t>{4});
  CHECK(list[1].number == 12);
  CHECK(list[1].generation == 1);
  CHECK(list[1].options == std::vector<std::uint8_t>{1, 8});
  CHECK(list[2].options.empty());
}

TEST_CASE("functionalities that do not fit") {
  const std::uint8_t long_options[] = {0xFF, 2, 8, 1, 0, 12, 1, 9, 1, 2};
  CHECK(parse_functionalities(long_options).size() == 1);
  const std::uint8_t too_few[] = {0xFF, 200, 8, 1, 0, 7};
  CHECK(parse_functionalities(too_few).size() == 1);
  const std::uint8_t padded[] = {0xFF, 1, 8, 1, 0, 0xFF, 0xFF, 0xFF};
  CHECK(parse_functionalities(padded).size() == 1);
  CHECK(parse_functionalities({}).empty());
}

TEST_CASE("terms of functionalities") {
  CHECK(functionality_term(0) == "minimum control function");
  CHECK(functionality_term(11) == "TC-SC server");
  CHECK(functionality_term(19) == "functionality 19");
  CHECK(functionality_term(25) == "data logger client");
  CHECK(functionality_term(26) == "functionality 26");
}
