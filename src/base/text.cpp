#include "base/text.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <iterator>

#include "base/utf8.hpp"

namespace tramlog {
namespace {

constexpr bool is_control(char32_t c) {
  return c < 0x20 || (c >= 0x7F && c < 0xA0);
}

/// Characters that print nothing but move or turn the text around them: a name could hide behind them.
constexpr bool is_layout_trick(char32_t c) {
  return (c >= 0x200B && c <= 0x200F) || (c >= 0x2028 && c <= 0x202E) || (c >= 0x2060 && c <= 0x206F) ||
         c == 0xFEFF;
}

void append_escaped(std::string& out, unsigned char byte) {
  fmt::format_to(std::back_inserter(out), "\\x{:02x}", byte);
}

/// ASCII spelling of the typographic signs that our own texts use; nullptr for any other.
const char* ascii_spelling(char32_t c) {
  switch (c) {
    case 0x00A0:
    case 0x2009:
    case 0x202F:
      return " ";
    case 0x00B0:
      return "deg";
    case 0x00B1:
      return "+/-";
    case 0x00B2:
      return "2";
    case 0x00B3:
      return "3";
    case 0x00B5:
    case 0x03BC:
      return "u";
    case 0x00B7:
    case 0x2022:
      return "*";
    case 0x00D7:
      return "x";
    case 0x03A9:
    case 0x2126:
      return "Ohm";
    case 0x2010:
    case 0x2011:
    case 0x2012:
    case 0x2013:
    case 0x2014:
    case 0x2212:
      return "-";
    case 0x2018:
    case 0x2019:
      return "'";
    case 0x201C:
    case 0x201D:
      return "\"";
    case 0x2026:
      return "...";
    case 0x2190:
      return "<-";
    case 0x2192:
      return "->";
    case 0x2264:
      return "<=";
    case 0x2265:
      return ">=";
    default:
      return nullptr;
  }
}

/// Bytes of the first `columns` code points of `text`, or all of it.
std::size_t bytes_of_columns(std::string_view text, std::size_t columns) {
  std::size_t at = 0;
  while (at < text.size() && columns-- > 0) at += decode_utf8(text, at).length;
  return at;
}

std::size_t columns_of(std::string_view text) {
  std::size_t columns = 0;
  for (std::size_t at = 0; at < text.size(); ++columns) at += decode_utf8(text, at).length;
  return columns;
}

/// One paragraph (no line ends in it) broken into lines.
void wrap_paragraph(std::string_view text, std::size_t width, std::vector<std::string>& lines) {
  std::string line;
  std::size_t used = 0;
  const std::size_t before = lines.size();
  const auto flush = [&] {
    lines.push_back(std::move(line));
    line.clear();
    used = 0;
  };
  for (std::size_t at = 0; at < text.size();) {
    if (text[at] == ' ' || text[at] == '\t') {
      ++at;
      continue;
    }
    const std::size_t stop = std::min(text.find_first_of(" \t", at), text.size());
    std::string_view word = text.substr(at, stop - at);
    at = stop;
    std::size_t columns = columns_of(word);
    if (used > 0 && used + 1 + columns > width) flush();
    while (columns > width) {
      const std::size_t cut = bytes_of_columns(word, width);
      lines.emplace_back(word.substr(0, cut));
      word.remove_prefix(cut);
      columns -= width;
    }
    if (used > 0) {
      line.push_back(' ');
      ++used;
    }
    line.append(word);
    used += columns;
  }
  if (used > 0 || lines.size() == before) flush();  // an empty paragraph is an empty line
}

}  // namespace

std::string printable_latin1(Bytes bytes) {
  std::string out;
  out.reserve(bytes.size());
  for (const std::uint8_t byte : bytes) {
    if (is_control(byte))
      append_escaped(out, byte);
    else
      append_utf8(out, byte);
  }
  return out;
}

std::string printable_utf8(std::string_view text) {
  std::string out;
  out.reserve(text.size());
  for (std::size_t at = 0; at < text.size();) {
    const CodePoint c = decode_utf8(text, at);
    if (c.valid && !is_control(c.value) && !is_layout_trick(c.value)) {
      out.append(text.substr(at, c.length));
    } else {
      for (std::size_t i = 0; i < c.length; ++i)
        append_escaped(out, static_cast<unsigned char>(text[at + i]));
    }
    at += c.length;
  }
  return out;
}

std::string_view trimmed(std::string_view text) {
  constexpr std::string_view kBlank = " \t\r\n";
  const std::size_t begin = text.find_first_not_of(kBlank);
  if (begin == std::string_view::npos) return {};
  return text.substr(begin, text.find_last_not_of(kBlank) - begin + 1);
}

std::vector<std::string> wrapped(std::string_view text, std::size_t width) {
  std::vector<std::string> lines;
  if (text.empty()) return lines;
  width = std::max<std::size_t>(width, 1);
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t stop = std::min(text.find('\n', at), text.size());
    wrap_paragraph(text.substr(at, stop - at), width, lines);
    at = stop + 1;
  }
  return lines;
}

std::string as_ascii(std::string_view utf8) {
  std::string out;
  out.reserve(utf8.size());
  for (std::size_t at = 0; at < utf8.size();) {
    const CodePoint c = decode_utf8(utf8, at);
    at += c.length;
    if (!c.valid) {
      fmt::format_to(std::back_inserter(out), "<x{:02x}>", static_cast<unsigned>(c.value));
    } else if (c.value == '\n' || (c.value >= 0x20 && c.value < 0x7F)) {
      out.push_back(static_cast<char>(c.value));
    } else if (const char* spelling = ascii_spelling(c.value)) {
      out += spelling;
    } else {
      fmt::format_to(std::back_inserter(out), "<{:02x}>", static_cast<unsigned>(c.value));
    }
  }
  return out;
}

std::string hex_bytes(Bytes bytes, std::string_view separator) {
  constexpr char kDigits[] = "0123456789abcdef";
  std::string out;
  out.reserve(bytes.size() * (2 + separator.size()));
  for (std::size_t i = 0; i < bytes.size(); ++i) {
    if (i > 0) out += separator;
    out.push_back(kDigits[bytes[i] >> 4]);
    out.push_back(kDigits[bytes[i] & 0x0F]);
  }
  return out;
}

std::string ascii_lower(std::string_view text) {
  std::string lower(text);
  for (char& c : lower)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return lower;
}

std::optional<std::uint32_t> parse_number(std::string_view text) {
  const bool hex = text.size() > 2 && text[0] == '0' && (text[1] == 'x' || text[1] == 'X');
  if (hex) text.remove_prefix(2);
  std::uint32_t value = 0;
  const char* end = text.data() + text.size();
  const auto [stop, fault] = std::from_chars(text.data(), end, value, hex ? 16 : 10);
  if (fault != std::errc{} || stop != end || text.empty()) return std::nullopt;
  return value;
}

}  // namespace tramlog
