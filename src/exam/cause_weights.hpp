// The table behind the findings: dbc/cause-weights.toml (compiled in); a user's file replaces any number of
// it.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>

#include "base/result.hpp"

namespace tramlog {

class CauseWeights {
 public:
  using Row = std::map<std::string, double, std::less<>>;  // evidence -> weight; "base"

  /// The built-in file.
  static const CauseWeights& built_in();
  static std::string_view built_in_text();
  /// `text` is TOML of the built-in file's form; the numbers that it names are replaced, evidence may be
  /// added to a cause. Errors (ErrorKind::usage) name file, line and column: not TOML, a cause, evidence or
  /// setting that does not exist, no number, thresholds
  /// that are not in order.
  static Result<CauseWeights> parse(std::string_view text, const std::string& file);

  /// "verdict.likely", "rank.silence"; one that does not exist is 0 (tests hold all uses against the file).
  double setting(std::string_view key) const;
  /// The row of a cause, null if the table has none: then it is never proposed.
  const Row* row(std::string_view cause) const;
  /// What decides between two causes; empty: nothing known.
  std::string_view tell_apart(std::string_view one, std::string_view other) const;

 private:
  static std::optional<Error> read_over(std::string_view text, const std::string& file, bool built_in,
                                        CauseWeights& weights);

  std::map<std::string, Row, std::less<>> rows_;
  std::map<std::string, double, std::less<>> settings_;
  std::map<std::string, std::string, std::less<>> pairs_;
};

}  // namespace tramlog
