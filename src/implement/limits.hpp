// The limits of the seeding check-list and of the checks of a bus, each with its reason in
// dbc/seeding-limits.toml and dbc/bus-limits.toml (compiled in); a user's file replaces any of them.
#pragma once

#include <map>
#include <string>
#include <string_view>

#include "base/result.hpp"

namespace tramlog {

class SeedingLimits {
 public:
  /// The built-in files.
  static const SeedingLimits& built_in();
  static std::string_view built_in_text();

  /// `text` is TOML with the tables and keys of the built-in files; those that it names are replaced. Errors
  /// (ErrorKind::usage) name file, line and key: not TOML, unknown key, no number, negative or not finite.
  static Result<SeedingLimits> parse(std::string_view text, const std::string& file);

  /// "meter.dead_time_s". The key must be one of the built-in files: tests hold every use against it; else 0.
  double operator[](std::string_view key) const;
  const std::map<std::string, double, std::less<>>& all() const { return values_; }

 private:
  std::map<std::string, double, std::less<>> values_;
};

}  // namespace tramlog
