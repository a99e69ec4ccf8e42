// Serials and identity numbers in another spelling than their own field's.
#include <catch2/catch.hpp>

#include "parcel/private_rules.hpp"

using namespace tramlog;

namespace {

bool learn(PrivateTerms& terms, const std::string& serial) {
  return terms.learn_serial({reinterpret_cast<const std::uint8_t*>(serial.data()), serial.size()});
}

std::string software(const PrivateTerms& terms, const std::string& text) {
  const MessageHead head{0, 0xFEDA, 0x80, 0xFF};
  std::vector<std::uint8_t> data(text.begin(), text.end());
  PrivateRules rules;
  rules.rewrite(head, data, terms);
  CHECK_FALSE(PrivateRules::replace_known(head, data, terms));
  return {data.begin(), data.end()};
}

}  // namespace

TEST_CASE("A serial is found however it is spelled") {
  PrivateTerms terms;
  REQUIRE(learn(terms, "55512345"));
  REQUIRE(learn(terms, "ZQXW7788990"));
  REQUIRE(learn(terms, "SN-88417-Q"));
  REQUIRE(learn(terms, "front"));
  terms.settle();
  // In the order of their bytes: 1, 2, 3, 4.
  CHECK(software(terms, "\1FW 3 555-12345*") == "\1FW 3 000-00001*");
  CHECK(software(terms, "\1of 5 5.5/1_2 - 345, 55512345*") == "\1of 0 0.0/0_0 - 001, 00000001*");
  CHECK(software(terms, "\1ZQXW-7788990 zqxw 7788990*") ==
        "\1"
        "0000-0000003 0000 0000003*");
  CHECK(software(terms, "\1SN88417Q sn.88417.q SN-88417-Q*") ==
        "\1"
        "00000002 00.00000.2 0000000002*");
  // Neither what only begins alike, nor what stands far apart or in two fields, nor halves of words.
  CHECK(software(terms,
                 "\1"
                 "555-1234*555*12345*SN 8841*") ==
        "\1"
        "555-1234*555*12345*SN 8841*");
  CHECK(software(terms,
                 "\1"
                 "555    12345*") ==
        "\1"
        "555    12345*");
  CHECK(software(terms, "\1in fr ontier*") == "\1in fr ontier*");
  CHECK(software(terms, "\1the fr-ont of*") == "\1the 00-004 of*");
  CHECK(terms.replaced_text("mark of 555-12345 at the fr-ont") == "mark of 000-00001 at the fr-ont");
}

TEST_CASE("A stand-in is nobody's serial, however that is spelled") {
  PrivateTerms terms;
  REQUIRE(learn(terms, "0-0001"));
  for (char c = 'A'; c <= 'Z'; ++c) REQUIRE(learn(terms, std::string("QWERTZ") + c));
  terms.settle();
  for (char c = 'A'; c <= 'Z'; ++c) {
    const std::string said = software(terms, std::string("\1QWERTZ") + c + "*");
    CHECK(said.find("QWERTZ") == std::string::npos);
    CHECK(said.find("00001") == std::string::npos);
  }
}

TEST_CASE("Identity numbers in hex are found") {
  PrivateTerms terms;
  CHECK(terms.learn_name(Name(0xA000190000000000 | 0x010001)));
  CHECK(terms.learn_name(Name(0xA000190000000000 | 0x15E0D6)));
  terms.settle();
  CHECK(software(terms, "\1SW 0x010001 0X15e0d6 0x10001*") == "\1SW 0x000001 0X000002 0x00001*");
  CHECK(software(terms, "\1id 010001, 15E0D6, 0015e0d6*") == "\1id 000001, 000002, 00000002*");
  CHECK(software(terms, "\1id 65537 1433814*") == "\1id 00001 0000002*");
  CHECK(software(terms,
                 "\1"
                 "10001 A15E0D6 0x0100012 x010001y*") ==
        "\1"
        "10001 A15E0D6 0x0100012 x010001y*");
}
