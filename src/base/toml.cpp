#include "base/toml.hpp"

#include "base/text.hpp"

namespace tramlog {
namespace {

// Line with more parts in a row of keys than anybody writes; 0: none.
std::uint32_t too_deep_line(std::string_view text) {
  constexpr unsigned kMostParts = 256;
  std::uint32_t line = 1;
  unsigned dots = 0;
  for (const char c : text) {
    if (c == '\n') {
      ++line;
      dots = 0;
    } else if (c == '=' || c == '"' || c == '\'' || c == ',') {
      dots = 0;  // a value, or the next key
    } else if (c == '.' && ++dots >= kMostParts) {
      return line;
    }
  }
  return 0;
}

}  // namespace

std::optional<TomlProblem> parse_toml(std::string_view text, std::string_view file, toml::table& table) {
  if (const std::uint32_t line = too_deep_line(text); line > 0)
    return TomlProblem{"a key of more than 256 parts", line, 1};
  toml::parse_result parsed = toml::parse(text, file);
  if (!parsed) {
    const auto at = parsed.error().source().begin;
    return TomlProblem{printable_utf8(parsed.error().description()), at.line, at.column};
  }
  table = std::move(parsed).table();
  return std::nullopt;
}

}  // namespace tramlog
