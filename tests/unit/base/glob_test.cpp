#include <catch2/catch.hpp>
#include <string>

#include "base/text.hpp"

using namespace tramlog;

TEST_CASE("plain patterns match the whole text") {
  CHECK(matches_glob("MTR 4.2", "MTR 4.2"));
  CHECK_FALSE(matches_glob("MTR 4.2", "MTR 4.21"));
  CHECK_FALSE(matches_glob("MTR 4.2", "MTR 4."));
  CHECK_FALSE(matches_glob("mtr", "MTR"));
  CHECK(matches_glob("", ""));
  CHECK_FALSE(matches_glob("", "a"));
}

TEST_CASE("stars and question marks") {
  CHECK(matches_glob("MTR 4.*", "MTR 4.2.17"));
  CHECK(matches_glob("MTR 4.*", "MTR 4."));
  CHECK_FALSE(matches_glob("MTR 4.*", "MTR 5.0"));
  CHECK(matches_glob("*", ""));
  CHECK(matches_glob("***a**", "bca"));
  CHECK(matches_glob("*ab*ab*", "xababy"));
  CHECK_FALSE(matches_glob("*ab*ab*ab", "xababy"));
  CHECK(matches_glob("v?.?", "v1.9"));
  CHECK_FALSE(matches_glob("v?", "v"));
  CHECK(matches_glob("s?hen", "s\u00e4hen"));  // one character, not one byte
  CHECK(matches_glob("a?", "a\xFF"));
}

TEST_CASE("sets") {
  CHECK(matches_glob("4.[0-3]", "4.2"));
  CHECK_FALSE(matches_glob("4.[0-3]", "4.5"));
  CHECK(matches_glob("4.[!0-3]", "4.5"));
  CHECK_FALSE(matches_glob("4.[!0-3]", "4.3"));
  CHECK(matches_glob("[a-cx-z]", "y"));
  CHECK(matches_glob("[]]", "]"));
  CHECK(matches_glob("[!]]", "a"));
  CHECK_FALSE(matches_glob("[!]]", "]"));
  CHECK(matches_glob("[a-]", "-"));
  CHECK(matches_glob("[\u00e0-\u00ff]", "\u00e9"));
  CHECK(matches_glob("[*]", "*"));
  CHECK_FALSE(matches_glob("[*]", "a"));
}

TEST_CASE("a set that is never closed is text") {
  CHECK(matches_glob("[ab", "[ab"));
  CHECK(matches_glob("[!", "[!"));
  CHECK(matches_glob("[]", "[]"));
  CHECK(matches_glob("a[", "a["));
  CHECK_FALSE(matches_glob("[ab", "a"));
}

TEST_CASE("hostile patterns end in time") {
  std::string stars;
  for (int i = 0; i < 500; ++i) stars += "*a";
  CHECK_FALSE(matches_glob(stars + "b", std::string(5000, 'a')));
  CHECK_FALSE(matches_glob(std::string(20000, '['), std::string(20000, 'x')));
}
