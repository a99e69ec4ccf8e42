#include "report/page.hpp"

#include <algorithm>

#include "base/text.hpp"

namespace tramlog {
namespace {

std::size_t columns(std::string_view text) {
  return static_cast<std::size_t>(std::count_if(
      text.begin(), text.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xC0) != 0x80; }));
}

std::string padded(std::string text, std::size_t width) {
  const std::size_t used = columns(text);
  if (used < width) text.append(width - used, ' ');
  return text;
}

}  // namespace

std::string Page::shown(std::string_view text) const {
  return unicode_ ? printable_utf8(text) : as_ascii(printable_utf8(text));
}

void Page::end_line(std::string text) {
  text.erase(text.find_last_not_of(' ') + 1);
  out_ += text;
  out_ += '\n';
}

void Page::line(std::string_view text) {
  if (text.empty()) end_line({});
  for (std::string& part : wrapped(shown(text), kWidth)) end_line(std::move(part));
}

void Page::heading(std::string_view text) {
  out_ += '\n';
  line(text);
}

void Page::item(std::string_view prefix, std::string_view text) {
  constexpr std::size_t kWidestPrefix = kWidth / 2;
  const std::string first = shown(prefix);
  const std::size_t indent = columns(first);
  if (indent > kWidestPrefix) {
    line(prefix);
    return item("    ", text);
  }
  bool begun = false;
  for (const std::string& part : wrapped(shown(text), kWidth - indent)) {
    end_line((begun ? std::string(indent, ' ') : first) + part);
    begun = true;
  }
  if (!begun) end_line(first);
}

void Page::row(const std::vector<std::string>& cells, const std::vector<std::size_t>& widths) {
  std::vector<std::vector<std::string>> wrapped_cells;
  std::size_t lines = 1;
  std::size_t left = 0;
  for (std::size_t i = 0; i < cells.size(); ++i) {
    const std::size_t width = i + 1 < cells.size() ? widths[i] - 1 : kWidth - std::min(left, kWidth);
    wrapped_cells.push_back(wrapped(shown(cells[i]), width));
    lines = std::max(lines, wrapped_cells.back().size());
    if (i < widths.size()) left += widths[i];
  }
  for (std::size_t l = 0; l < lines; ++l) {
    std::string text;
    for (std::size_t i = 0; i < cells.size(); ++i) {
      const std::string part = l < wrapped_cells[i].size() ? wrapped_cells[i][l] : std::string();
      text += i + 1 < cells.size() ? padded(part, widths[i]) : part;
    }
    end_line(text);
  }
}

}  // namespace tramlog
