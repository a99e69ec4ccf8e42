#include "base/text.hpp"

#include <catch2/catch.hpp>
#include <string>

#include "base/utf8.hpp"

using namespace tramlog;
using namespace std::string_literals;

namespace {
Bytes bytes_of(const std::string& text) {
  return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
}
using Lines = std::vector<std::string>;
}  // namespace

TEST_CASE("Latin-1 becomes printable UTF-8") {
  CHECK(printable_latin1(bytes_of("MTR 4.2")) == "MTR 4.2");
  CHECK(printable_latin1(bytes_of("s\xE4hen")) == "s\u00e4hen");
  CHECK(printable_latin1(bytes_of("a\0b\x1B\x7F\x85\xA0"s)) == "a\\x00b\\x1b\\x7f\\x85\u00a0");
  CHECK(printable_latin1({}).empty());
}

TEST_CASE("UTF-8 is made safe to print") {
  CHECK(printable_utf8("r\u00e9glage \u2192 ok") == "r\u00e9glage \u2192 ok");
  CHECK(printable_utf8("a\x1B[31m\n") == "a\\x1b[31m\\x0a");
  CHECK(printable_utf8("\xC2\x85") == "\\xc2\\x85");                    // next line, a control character
  CHECK(printable_utf8("x\u202Ey") == "x\\xe2\\x80\\xaey");             // right-to-left override
  CHECK(printable_utf8("\xC0\xAF") == "\\xc0\\xaf");                    // overlong
  CHECK(printable_utf8("\xED\xA0\x80") == "\\xed\\xa0\\x80");           // surrogate
  CHECK(printable_utf8("\xF4\x90\x80\x80") == "\\xf4\\x90\\x80\\x80");  // beyond U+10FFFF
  CHECK(printable_utf8("ok\xE2\x82") == "ok\\xe2\\x82");                // torn
  CHECK(printable_utf8("\xF0\x9F\x9A\x9C") == "\xF0\x9F\x9A\x9C");
}

TEST_CASE("every code point survives writing and reading") {
  for (char32_t c = 1; c <= 0x10FFFF; c += c < 0x3000 ? 1 : 997) {
    if (c >= 0xD800 && c <= 0xDFFF) continue;
    std::string text;
    append_utf8(text, c);
    const CodePoint back = decode_utf8(text, 0);
    REQUIRE(back.valid);
    REQUIRE(back.value == c);
    REQUIRE(back.length == text.size());
  }
}

TEST_CASE("blanks at both ends go") {
  CHECK(trimmed(" \t a b\r\n") == "a b");
  CHECK(trimmed(" \t").empty());
  CHECK(trimmed("").empty());
}

TEST_CASE("text is broken at blanks") {
  CHECK(wrapped("", 10) == Lines{});
  CHECK(wrapped("one two three", 7) == Lines{"one two", "three"});
  CHECK(wrapped("one two three", 6) == Lines{"one", "two", "three"});
  CHECK(wrapped("  one   two  ", 20) == Lines{"one two"});
  CHECK(wrapped("ab abcdefgh cd", 3) == Lines{"ab", "abc", "def", "gh", "cd"});
  CHECK(wrapped("abcdefgh i", 3) == Lines{"abc", "def", "gh", "i"});
  CHECK(wrapped("first\n\nsecond\n", 20) == Lines{"first", "", "second"});
  CHECK(wrapped("ab", 0) == Lines{"a", "b"});
  CHECK(wrapped("\u00e4\u00f6\u00fc \u00df", 3) ==
        Lines{"\u00e4\u00f6\u00fc", "\u00df"});  // columns, not bytes
}

TEST_CASE("ASCII for e-mail") {
  CHECK(as_ascii("plain ~ text\nnext") == "plain ~ text\nnext");
  CHECK(as_ascii("\u00e9") == "<e9>");
  CHECK(as_ascii("12 \u00b0C \u2013 5\u00a0\u00b5s \u2192 m\u00b2") == "12 degC - 5 us -> m2");
  CHECK(as_ascii("\x07\xFF\u20AC") == "<07><xff><20ac>");
  std::string all;
  for (char32_t c = 0; c < 0x3000; ++c) append_utf8(all, c);
  for (const char c : as_ascii(all)) REQUIRE((c == '\n' || (c >= 0x20 && c < 0x7F)));
}

TEST_CASE("hex") {
  CHECK(hex_bytes(bytes_of("\x0A\xFF"s)) == "0a ff");
  CHECK(hex_bytes(bytes_of("\x0A\xFF"s), "") == "0aff");
  CHECK(hex_bytes({}).empty());
}
