#include "base/decimal.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

using namespace tramlog;

namespace {

Number exact(std::uint64_t magnitude, std::uint8_t decimals, bool negative = false) {
  Number number;
  number.magnitude = magnitude;
  number.decimals = decimals;
  number.negative = negative;
  return number;
}

Number rounded(double real, std::uint8_t decimals) {
  Number number;
  number.kind = Number::Kind::rounded;
  number.real = real;
  number.decimals = decimals;
  return number;
}

Number real(double value) {
  Number number;
  number.kind = Number::Kind::real;
  number.real = value;
  return number;
}

}  // namespace

TEST_CASE("decimal text becomes digits and exponent") {
  CHECK(parse_decimal("0.001") == Decimal{1, -3});
  CHECK(parse_decimal("-40") == Decimal{-4, 1});
  CHECK(parse_decimal("+3.") == Decimal{3, 0});
  CHECK(parse_decimal(".5") == Decimal{5, -1});
  CHECK(parse_decimal("-.5") == Decimal{-5, -1});
  CHECK(parse_decimal("0.500") == Decimal{5, -1});
  CHECK(parse_decimal("1E-07") == Decimal{1, -7});
  CHECK(parse_decimal("1e+3") == Decimal{1, 3});
  CHECK(parse_decimal("12.50e2") == Decimal{125, 1});
  CHECK(parse_decimal("0.0078125") == Decimal{78125, -7});
  CHECK(parse_decimal("1e-16") == Decimal{1, -16});
}

TEST_CASE("zero has one form") {
  for (const char* text : {"0", "-0", "0.000", "00", "0e5", ".0", "0e-300"})
    CHECK(parse_decimal(text) == Decimal{0, 0});
  CHECK(parse_decimal("0." + std::string(5000, '0')) == Decimal{0, 0});
}

TEST_CASE("what is no number is none") {
  for (const char* text :
       {"",    " ",    "-",    "+",     ".",   "-.",  "e5",    "1e",     "1e+",           "1 ", " 1", "1,5",
        "--1", "1..2", "0x10", "1e5.0", "nan", "inf", "1e301", "1e-301", "1e99999999999", "12a"})
    CHECK_FALSE(parse_decimal(text));
}

TEST_CASE("more than 18 digits are rounded") {
  CHECK(parse_decimal("123456789012345678") == Decimal{123456789012345678, 0});
  CHECK(parse_decimal("1234567890123456784") == Decimal{123456789012345678, 1});
  CHECK(parse_decimal("1234567890123456785") == Decimal{123456789012345679, 1});
  CHECK(parse_decimal("18446744073709551615") == Decimal{184467440737095516, 2});
  CHECK(parse_decimal("9999999999999999999") == Decimal{1, 19});
  CHECK(parse_decimal("0.1234567890123456789") == Decimal{123456789012345679, -18});
  CHECK(parse_decimal("0." + std::string(400, '0') + "1") == std::nullopt);
  CHECK(parse_decimal(std::string(400, '9')) == std::nullopt);
  CHECK(parse_decimal("0." + std::string(100, '0') + "25") == Decimal{25, -102});
}

TEST_CASE("decimals show plainly") {
  CHECK(Decimal{78125, -7}.to_string() == "0.0078125");
  CHECK(Decimal{-273, 0}.to_string() == "-273");
  CHECK(Decimal{-4, 1}.to_string() == "-40");
  CHECK(Decimal{125, -1}.to_string() == "12.5");
  CHECK(Decimal{0, 0}.to_string() == "0");
  CHECK(Decimal{1, -16}.to_string() == "1e-16");
  CHECK(Decimal{-5, -1}.to_string() == "-0.5");
  CHECK(Decimal{1, 18}.to_string() == "1e18");
  CHECK(Decimal{INT64_MIN, -1}.to_string() == "-922337203685477580.8");
}

TEST_CASE("decimals become the nearest binary fraction") {
  CHECK(Decimal{1, -3}.to_double() == 0.001);
  CHECK(Decimal{-4, 1}.to_double() == -40.0);
  CHECK(Decimal{1, -16}.to_double() == 1e-16);
  CHECK(Decimal{123456789012345678, -18}.to_double() == 0.123456789012345678);
  CHECK(Decimal{1, 300}.to_double() == 1e300);
}

TEST_CASE("exact numbers keep their places") {
  CHECK(format_number(exact(100, 1)) == "10.0");
  CHECK(format_number(exact(4025, 2, true)) == "-40.25");
  CHECK(format_number(exact(0, 3)) == "0.000");
  CHECK(format_number(exact(0, 0)) == "0");
  CHECK(format_number(exact(7, 3)) == "0.007");
  CHECK(format_number(exact(7, 3, true)) == "-0.007");
  CHECK(format_number(exact(1000, 3)) == "1.000");
  CHECK(format_number(exact(18446744073709551615U, 0)) == "18446744073709551615");
  CHECK(format_number(exact(18446744073709551615U, 20)) == "0.18446744073709551615");
  CHECK(format_number(exact(9223372036854775808U, 16, true)) == "-922.3372036854775808");
  CHECK(format_number(exact(1, 20)) == "0.00000000000000000001");
}

TEST_CASE("rounded numbers show their places and no negative zero") {
  CHECK(format_number(rounded(12.345, 1)) == "12.3");
  CHECK(format_number(rounded(-0.04, 1)) == "0.0");
  CHECK(format_number(rounded(-0.06, 1)) == "-0.1");
  CHECK(format_number(rounded(2.5, 3)) == "2.500");
  CHECK(format_number(rounded(-0.0, 0)) == "0");
  // The largest that there is fits into the promised room.
  const std::string largest = format_number(rounded(-std::numeric_limits<double>::max(), 17));
  CHECK(largest.size() == 1 + 309 + 1 + 17);
  CHECK(largest.size() <= kNumberChars);
}

TEST_CASE("real numbers show their shortest text") {
  CHECK(format_number(real(0.1)) == "0.1");
  CHECK(format_number(real(-2.5)) == "-2.5");
  CHECK(format_number(real(1e300)) == "1e+300");
  CHECK(format_number(real(3)) == "3");
}

TEST_CASE("numbers know whether they are finite") {
  CHECK(is_finite(exact(5, 0)));
  CHECK(is_finite(real(1.5)));
  CHECK_FALSE(is_finite(real(std::numeric_limits<double>::infinity())));
  CHECK_FALSE(is_finite(real(std::nan(""))));
  CHECK_FALSE(is_finite(rounded(-std::numeric_limits<double>::infinity(), 2)));
}

TEST_CASE("numbers become the nearest binary fraction") {
  CHECK(exact(64255, 3).to_double() == 64.255);
  CHECK(exact(5, 1, true).to_double() == -0.5);
  CHECK(exact(18446744073709551615U, 0).to_double() == 18446744073709551615.0);
  CHECK(exact(485123456789012345, 16).to_double() == 48.5123456789012345);
  CHECK(real(0.25).to_double() == 0.25);
  CHECK(rounded(0.25, 1).to_double() == 0.25);
}
