#include "decode/json_pieces.hpp"

#include <charconv>

#include "base/text.hpp"

namespace tramlog {
namespace {

constexpr char kHexDigits[] = "0123456789abcdef";

}  // namespace

char* put_integer(char* out, std::uint64_t value) {
  return std::to_chars(out, out + 20, value).ptr;
}

std::string json_string(std::string_view text) {
  // What printable_utf8 leaves needs only quotes and backslashes escaped.
  std::string quoted = "\"";
  for (const char c : printable_utf8(text)) {
    if (c == '"' || c == '\\') quoted += '\\';
    quoted += c;
  }
  return quoted + '"';
}

char* put_plain_string(char* out, std::string_view text) {
  *out++ = '"';
  for (const char c : text) {
    if (c < 0x20 || c > 0x7E) return nullptr;
    if (c == '"' || c == '\\') *out++ = '\\';
    *out++ = c;
  }
  *out++ = '"';
  return out;
}

char* put_hex(char* out, Bytes bytes) {
  for (const std::uint8_t byte : bytes) {
    *out++ = kHexDigits[byte >> 4];
    *out++ = kHexDigits[byte & 15];
  }
  return out;
}

}  // namespace tramlog
