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

}  // namespace tramlog
