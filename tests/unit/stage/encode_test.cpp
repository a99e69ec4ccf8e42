#include "stage/encode.hpp"

#include <catch2/catch.hpp>

using namespace tramlog::stage;
using Octets = std::vector<std::uint8_t>;

TEST_CASE("NAMEs of the fact sheet's vectors") {
  CHECK(encode_name({true, 2, 0, 6, 128, 0, 0, 1000, 0x12345}) == 0xA00C80007D012345);
  CHECK(encode_name({true, 2, 0, 0, 134, 0, 0, 1000, 1}) == 0xA00086007D000001);
  CHECK(encode_name({true, 0, 0, 0, 29, 0, 0, 1001, 77}) == 0x80001D007D20004D);
  CHECK(encode_name({false, 2, 0, 4, 133, 2, 1, 2047, 2097151}) == 0x20088511FFFFFFFF);
}

TEST_CASE("a claim carries the NAME least significant byte first") {
  CHECK(claim_bytes(0xA00C80007D012345) == Octets{0x45, 0x23, 0x01, 0x7D, 0x00, 0x80, 0x0C, 0xA0});
}

TEST_CASE("DM1 of none, one and two codes") {
  CHECK(encode_dm1({}) == Octets{0xFF, 0xFF, 0, 0, 0, 0, 0xFF, 0xFF});
  CHECK(encode_dm1({{520200, 9, 3}}) == Octets{0xFF, 0xFF, 0x08, 0xF0, 0xE9, 0x03, 0xFF, 0xFF});
  CHECK(encode_dm1({{2128, 31, 1}, {168, 18, 1}}) ==
        Octets{0xFF, 0xFF, 0x50, 0x08, 0x1F, 0x01, 0xA8, 0x00, 0x12, 0x01});
}

TEST_CASE("software identification in its usual and its odd forms") {
  CHECK(encode_software({"1.4.0"}, SoftwareForm::standard) ==
        Octets{0x01, 0x31, 0x2E, 0x34, 0x2E, 0x30, 0x2A, 0xFF});
  CHECK(encode_software({"1.4.0"}, SoftwareForm::no_count) ==
        Octets{0x31, 0x2E, 0x34, 0x2E, 0x30, 0x2A, 0xFF, 0xFF});
  CHECK(encode_software({"AB", "CDE"}, SoftwareForm::no_final_star) ==
        Octets{0x02, 'A', 'B', '*', 'C', 'D', 'E', 0xFF});
  CHECK(encode_software({"ABCD"}, SoftwareForm::final_zero) ==
        Octets{0x01, 'A', 'B', 'C', 'D', '*', 0x00, 0xFF});
}
