// UTF-8 taken apart one code point at a time; bytes that are no UTF-8 come out one by one.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace tramlog {

struct CodePoint {
  char32_t value = 0;      // the code point, or the byte itself if `valid` is false
  std::size_t length = 1;  // bytes it took, 1..4
  bool valid = true;
};

/// The code point at `at` (which lies inside `text`). Overlong forms, surrogates and values over U+10FFFF are
/// invalid; an invalid byte is one byte long.
CodePoint decode_utf8(std::string_view text, std::size_t at);

bool is_utf8(std::string_view text);

/// The text itself if it is UTF-8, else taken as Latin-1 and converted: what people's files are.
std::string utf8_or_latin1(std::string_view text);

/// Appends the code point, which must be a valid one.
void append_utf8(std::string& out, char32_t value);

/// At most `most` bytes of the text, never cut in the middle of a character.
inline std::string_view cut_text(std::string_view text, std::size_t most) {
  if (text.size() <= most) return text;
  while (most > 0 && (static_cast<unsigned char>(text[most]) & 0xC0) == 0x80) --most;
  return text.substr(0, most);
}

}  // namespace tramlog
