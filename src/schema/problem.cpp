#include "schema/problem.hpp"

#include <fmt/format.h>

namespace tramlog {

std::string describe(const SchemaProblem& problem) {
  std::string out = problem.file;
  if (problem.line != 0) out += fmt::format(":{}", problem.line);
  if (problem.line != 0 && problem.column != 0) out += fmt::format(":{}", problem.column);
  out += problem.severity == SchemaProblem::Severity::error ? ": error: " : ": warning: ";
  if (!problem.subject.empty()) out += problem.subject + ": ";
  out += problem.text;
  if (!problem.remedy.empty()) out += "; " + problem.remedy;
  return out;
}

}  // namespace tramlog
