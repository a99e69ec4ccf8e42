#include "exam/cause_weights.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/text.hpp"
#include "base/toml.hpp"
#include "exam/cause.hpp"
#include "exam/causes/table.inc"
#include "exam/evidence.hpp"

namespace tramlog {
namespace {

constexpr std::string_view kBuiltInText =
#include "exam/built_in_weights.inc"
    ;
constexpr std::size_t kMaxBytes = 256 * 1024;
constexpr std::string_view kBetween = " / ";
constexpr std::string_view kSettings[] = {"verdict", "rank"};

Error at(const std::string& file, const toml::source_region& where, std::string what, std::string remedy) {
  return {ErrorKind::usage, std::move(what),
          fmt::format("{}:{}:{}", file, where.begin.line, where.begin.column), std::move(remedy)};
}

std::string shown(std::string_view text) {
  return fmt::format("\"{}\"", printable_utf8(text.substr(0, 60)));
}

bool is_cause(std::string_view code) {
  return std::any_of(std::begin(causes::kAll), std::end(causes::kAll),
                     [&](const Cause* cause) { return cause->code == code; });
}

std::string causes_known() {
  std::string list;
  for (const Cause* cause : causes::kAll) list += (list.empty() ? "" : ", ") + std::string(cause->code);
  return list;
}

bool is_pair(std::string_view key) {
  const std::size_t middle = key.find(kBetween);
  return middle != std::string_view::npos && is_cause(key.substr(0, middle)) &&
         is_cause(key.substr(middle + kBetween.size()));
}

}  // namespace

std::optional<Error> CauseWeights::read_over(std::string_view text, const std::string& file, bool built_in,
                                             CauseWeights& weights) {
  if (text.size() > kMaxBytes)
    return Error{ErrorKind::usage,
                 fmt::format("the weights have {} bytes, at most {} are allowed", text.size(), kMaxBytes),
                 file, "check that this is a file of weights"};
  toml::table tables;
  if (const auto problem = parse_toml(text, file, tables))
    return Error{ErrorKind::usage, "not TOML: " + problem->what,
                 fmt::format("{}:{}:{}", file, problem->line, problem->column), "correct this line"};
  for (const auto& [table_key, node] : tables) {
    const std::string_view name = table_key.str();
    const auto& where = table_key.source().begin ? table_key.source() : node.source();
    const bool pairs = name == "tell-apart";
    const bool settings = std::find(std::begin(kSettings), std::end(kSettings), name) != std::end(kSettings);
    if (!pairs && !settings && !is_cause(name))
      return at(file, where, fmt::format("there is no cause {}", shown(name)),
                "write the cause's code in quotes, as [\"supply.unit\"]; known are: " + causes_known());
    const toml::table* table = node.as_table();
    if (table == nullptr)
      return at(file, where, fmt::format("{} must be a table", shown(name)),
                fmt::format("write [\"{}\"] on a line of its own", printable_utf8(name)));
    for (const auto& [key, value] : *table) {
      const auto& key_at = key.source().begin ? key.source() : value.source();
      const std::string_view word = key.str();
      if (pairs) {
        const auto sentence = value.value<std::string>();
        if (!is_pair(word) || !sentence)
          return at(file, key_at, fmt::format("{} is no pair of two causes with a sentence", shown(word)),
                    "write \"supply.unit / wiring.stub\" = \"what decides between them\"");
        weights.pairs_[std::string(word)] = printable_utf8(*sentence);
        continue;
      }
      const std::optional<double> number = value.is_number() ? value.value<double>() : std::nullopt;
      if (!number || !std::isfinite(*number))
        return at(file, value.source(),
                  fmt::format("{} of [{}] must be a finite number", shown(word), printable_utf8(name)),
                  "write it without quotes, as 25");
      if (settings) {
        const std::string whole = fmt::format("{}.{}", name, word);
        if (!built_in && weights.settings_.find(whole) == weights.settings_.end())
          return at(file, key_at, fmt::format("there is no {} in [{}]", shown(word), name),
                    "see the built-in table for its names");
        weights.settings_[whole] = *number;
        continue;
      }
      if (word != "base" && find_evidence(word) == nullptr)
        return at(file, key_at, fmt::format("there is no evidence {}", shown(word)),
                  "see the built-in table for the names of evidence");
      weights.rows_[std::string(name)][std::string(word)] = *number;
    }
  }
  return std::nullopt;
}

std::string_view CauseWeights::built_in_text() {
  return kBuiltInText;
}

const CauseWeights& CauseWeights::built_in() {
  static const CauseWeights weights = [] {
    CauseWeights made;
    // Our own file: a test holds it to be right.
    if (read_over(kBuiltInText, "dbc/cause-weights.toml", true, made)) return CauseWeights();
    return made;
  }();
  return weights;
}

Result<CauseWeights> CauseWeights::parse(std::string_view text, const std::string& file) {
  CauseWeights weights = built_in();
  if (auto error = read_over(text, file, false, weights)) return *error;
  const double possible = weights.setting("verdict.possible"), likely = weights.setting("verdict.likely");
  if (possible <= 0 || likely < possible || weights.setting("verdict.certain") < likely ||
      weights.setting("verdict.margin") < 0)
    return Error{ErrorKind::usage,
                 "[verdict] needs 0 < possible <= likely <= certain and a margin that is not negative", file,
                 "correct these numbers; with possible at 0 a cause would be proposed without any evidence"};
  return weights;
}

double CauseWeights::setting(std::string_view key) const {
  const auto found = settings_.find(key);
  return found == settings_.end() ? 0 : found->second;
}

const CauseWeights::Row* CauseWeights::row(std::string_view cause) const {
  const auto found = rows_.find(cause);
  return found == rows_.end() ? nullptr : &found->second;
}

std::string_view CauseWeights::tell_apart(std::string_view one, std::string_view other) const {
  for (const auto& [first, second] : {std::pair(one, other), std::pair(other, one)}) {
    const auto found = pairs_.find(fmt::format("{}{}{}", first, kBetween, second));
    if (found != pairs_.end()) return found->second;
  }
  return {};
}

}  // namespace tramlog
