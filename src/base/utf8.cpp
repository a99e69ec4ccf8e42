#include "base/utf8.hpp"

namespace tramlog {

CodePoint decode_utf8(std::string_view text, std::size_t at) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[at + i]); };
  const unsigned char lead = byte(0);
  const CodePoint broken{lead, 1, false};
  if (lead < 0x80) return {lead, 1, true};

  std::size_t length = 0;
  char32_t value = 0;
  char32_t lowest = 0;  // smaller values in this many bytes are overlong
  if (lead >= 0xC2 && lead <= 0xDF) {
    length = 2, value = lead & 0x1Fu, lowest = 0x80;
  } else if ((lead & 0xF0) == 0xE0) {
    length = 3, value = lead & 0x0Fu, lowest = 0x800;
  } else if (lead >= 0xF0 && lead <= 0xF4) {
    length = 4, value = lead & 0x07u, lowest = 0x10000;
  } else {
    return broken;
  }
  if (text.size() - at < length) return broken;
  for (std::size_t i = 1; i < length; ++i) {
    if ((byte(i) & 0xC0) != 0x80) return broken;
    value = value << 6 | (byte(i) & 0x3Fu);
  }
  if (value < lowest || value > 0x10FFFF || (value >= 0xD800 && value <= 0xDFFF)) return broken;
  return {value, length, true};
}

void append_utf8(std::string& out, char32_t value) {
  const auto put = [&](char32_t bits) { out.push_back(static_cast<char>(static_cast<unsigned char>(bits))); };
  if (value < 0x80) {
    put(value);
  } else if (value < 0x800) {
    put(0xC0 | value >> 6), put(0x80 | (value & 0x3F));
  } else if (value < 0x10000) {
    put(0xE0 | value >> 12), put(0x80 | (value >> 6 & 0x3F)), put(0x80 | (value & 0x3F));
  } else {
    put(0xF0 | value >> 18), put(0x80 | (value >> 12 & 0x3F));
    put(0x80 | (value >> 6 & 0x3F)), put(0x80 | (value & 0x3F));
  }
}

bool is_utf8(std::string_view text) {
  for (std::size_t i = 0; i < text.size();) {
    const CodePoint point = decode_utf8(text, i);
    if (!point.valid) return false;
    i += point.length;
  }
  return true;
}

std::string utf8_or_latin1(std::string_view text) {
  if (is_utf8(text)) return std::string(text);
  std::string out;
  for (const char c : text) append_utf8(out, static_cast<unsigned char>(c));
  return out;
}

}  // namespace tramlog
