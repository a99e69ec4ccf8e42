#include "implement/limits.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/text.hpp"
#include "base/toml.hpp"

namespace tramlog {
namespace {

constexpr std::string_view kBuiltInText =
#include "implement/built_in_limits.inc"
    ;
constexpr std::size_t kMaxLimitsBytes = 256 * 1024;

using Values = std::map<std::string, double, std::less<>>;

std::string place(const std::string& file, const toml::source_region& at) {
  return fmt::format("{}:{}:{}", file, at.begin.line, at.begin.column);
}

Error at(const std::string& file, const toml::source_region& where, std::string what, std::string remedy) {
  return {ErrorKind::usage, std::move(what), place(file, where), std::move(remedy)};
}

/// Key or table of the user's for a message: printable, in quotes, not too long.
std::string shown(std::string_view text) {
  constexpr std::size_t kShownBytes = 60;
  std::size_t end = std::min(text.size(), kShownBytes);
  while (end < text.size() && end > 0 && (static_cast<unsigned char>(text[end]) & 0xC0) == 0x80) --end;
  return fmt::format("\"{}{}\"", printable_utf8(text.substr(0, end)), end < text.size() ? "..." : "");
}

/// The keys of one table, "a, b, c"; of none: the tables.
std::string names(const Values& known, std::string_view table) {
  std::vector<std::string_view> list;
  for (const auto& [key, value] : known) {
    const std::string_view whole = key;
    const std::size_t dot = whole.find('.');
    const std::string_view own = whole.substr(0, dot);
    const std::string_view name = table.empty() ? own : whole.substr(dot + 1);
    if ((table.empty() || own == table) && std::find(list.begin(), list.end(), name) == list.end())
      list.push_back(name);
  }
  std::string text;
  for (const std::string_view name : list) text += (text.empty() ? "" : ", ") + std::string(name);
  return text;
}

/// Reads `text` over `values`. Without `known` any table and key is taken.
std::optional<Error> read_over(std::string_view text, const std::string& file, const Values* known,
                               Values& values) {
  if (text.size() > kMaxLimitsBytes)
    return Error{
        ErrorKind::usage,
        fmt::format("the limits have {} bytes, at most {} are allowed", text.size(), kMaxLimitsBytes), file,
        "check that this is a file of limits"};
  toml::table tables;
  if (const auto problem = parse_toml(text, file, tables))
    return Error{ErrorKind::usage, "not TOML: " + problem->what,
                 fmt::format("{}:{}:{}", file, problem->line, problem->column), "correct this line"};
  for (const auto& [table_key, table_node] : tables) {
    const std::string table_name(table_key.str());
    const auto& table_at = table_key.source().begin ? table_key.source() : table_node.source();
    const bool table_known = known == nullptr || [&, name = table_name + "."] {
      const auto first = known->lower_bound(name);
      return first != known->end() && first->first.compare(0, name.size(), name) == 0;
    }();
    if (!table_known)
      return at(file, table_at, fmt::format("there are no limits {}", shown(table_name)),
                "use one of these tables: " + names(*known, {}));
    const toml::table* table = table_node.as_table();
    if (table == nullptr)
      return at(file, table_at, fmt::format("{} must be a table", shown(table_name)),
                fmt::format("write [{}] on a line of its own and the limits below it", table_name));
    for (const auto& [key, node] : *table) {
      const std::string name = table_name + "." + std::string(key.str());
      const auto& key_at = key.source().begin ? key.source() : node.source();
      if (known != nullptr && known->find(name) == known->end())
        return at(file, key_at, fmt::format("there is no limit {} in [{}]", shown(key.str()), table_name),
                  "use one of these: " + names(*known, table_name));
      const std::optional<double> value = node.is_number() ? node.value<double>() : std::nullopt;
      if (!value)
        return at(file, node.source(), fmt::format("the limit {} must be a number", name),
                  fmt::format("write it without quotes, as {} = 2.5", key.str()));
      if (!std::isfinite(*value) || *value < 0)
        return at(file, node.source(), fmt::format("the limit {} must be a finite number, 0 at least", name),
                  "correct the number, or leave the line out to keep the usual limit");
      values[name] = *value;
    }
  }
  return std::nullopt;
}

}  // namespace

std::string_view SeedingLimits::built_in_text() {
  return kBuiltInText;
}

const SeedingLimits& SeedingLimits::built_in() {
  static const SeedingLimits limits = [] {
    SeedingLimits made;
    // Our own file: a test holds it to be right.
    if (read_over(kBuiltInText, "dbc/seeding-limits.toml", nullptr, made.values_)) made.values_.clear();
    return made;
  }();
  return limits;
}

Result<SeedingLimits> SeedingLimits::parse(std::string_view text, const std::string& file) {
  SeedingLimits limits = built_in();
  if (auto error = read_over(text, file, &built_in().values_, limits.values_)) return *error;
  return limits;
}

double SeedingLimits::operator[](std::string_view key) const {
  const auto found = values_.find(key);
  return found == values_.end() ? 0 : found->second;
}

}  // namespace tramlog
