#include "report/text_limits.hpp"

#include <string_view>
#include <vector>

#include "base/text.hpp"

namespace tramlog {

std::string clipped_lines(const std::string& text, std::size_t width, std::size_t lines) {
  const std::vector<std::string> parts = wrapped(as_ascii(printable_utf8(text)), width);
  std::string kept;
  for (std::size_t i = 0; i < parts.size() && i < lines; ++i) kept += (i > 0 ? " " : "") + parts[i];
  if (parts.size() <= lines || lines == 0) return kept;
  // The mark fits the last line.
  constexpr std::string_view kMark = " ..";
  if (parts[lines - 1].size() + kMark.size() > width) kept.resize(kept.size() - kMark.size());
  return kept.append(kMark);
}

std::string clipped_clauses(const std::string& text, std::size_t width, std::size_t lines) {
  const std::string kept = clipped_lines(text, width, lines);
  if (kept == clipped_lines(text, width, lines + 1)) return kept;  // nothing is missing
  constexpr std::string_view kMark = " ..";
  const std::size_t end = kept.size() - std::min(kept.size(), kMark.size());
  std::size_t sentence = 0, clause = 0, word = 0;  // where the last one ends
  int depth = 0;
  for (std::size_t i = 0; i + 1 < end; ++i) {
    const char c = kept[i];
    if (c == '(' || c == '[') ++depth;
    if ((c == ')' || c == ']') && depth > 0) --depth;
    if (depth > 0 || kept[i + 1] != ' ') continue;
    if (c == '.' || c == ';') sentence = c == '.' ? i + 1 : i;
    if (c == ',') clause = i;
    word = c == ',' || c == ';' || c == ':' ? i : i + 1;
  }
  const std::size_t half = end / 2;
  const std::size_t cut = sentence > half ? sentence : clause > half ? clause : word > half ? word : 0;
  return cut == 0 ? kept : kept.substr(0, cut).append(kMark);
}

}  // namespace tramlog
