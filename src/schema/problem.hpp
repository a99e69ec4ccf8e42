// What is wrong in a schema file, where, and what to do; the rest of the file is still used.
#pragma once

#include <cstdint>
#include <string>

namespace tramlog {

struct SchemaProblem {
  enum class Severity : std::uint8_t {
    warning,  // used as it stands, but probably not what was meant
    error,    // this statement, signal or message is left out or only partly used
  };
  Severity severity = Severity::error;
  std::string file;
  std::uint32_t line = 0;    // 1-based; 0: the file as a whole
  std::uint32_t column = 0;  // 1-based, in bytes; 0: the whole line
  std::string subject;       // "GroundBasedSpeedDist.GroundBasedSpeed", "message 0x18FF1020", or empty
  std::string text;          // what was found and what was expected: a sentence without full stop
  std::string remedy;        // what to do: a clause
};

/// "dbc/tractor.dbc:42:17: error: GroundBasedSpeedDist.GroundBasedSpeed: <text>; <remedy>"
std::string describe(const SchemaProblem& problem);

/// How many problems a file has, those that are not listed too.
struct ProblemCount {
  std::uint64_t errors = 0, warnings = 0;

  void add(SchemaProblem::Severity severity) {
    ++(severity == SchemaProblem::Severity::error ? errors : warnings);
  }
  bool operator==(const ProblemCount&) const = default;
};

inline constexpr std::size_t kMaxSchemaBytes = 64 * 1024 * 1024;
inline constexpr std::size_t kMaxSchemaProblems = 1000;

}  // namespace tramlog
