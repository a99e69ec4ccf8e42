// The data dictionary of process data (ISO 11783-11): what a DDI's 32-bit value means. From
// dbc/process-data.csv.
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "base/decimal.hpp"
#include "schema/problem.hpp"

namespace tramlog {

struct DictionaryEntry {
  std::uint16_t ddi = 0;
  std::string name;          // "Actual Mass Per Area Application Rate"
  std::string unit;          // "mg/m2"; "" = none
  Decimal resolution{1, 0};  // value = raw x resolution
  bool is_unsigned = false;  // the few whose value is not two's complement (fact sheet, process data, 8.3)
  std::uint32_t line = 0;
};

struct Dictionary {
  std::string file;
  std::map<std::uint16_t, DictionaryEntry> entries;
  std::vector<SchemaProblem> problems;  // at most kMaxSchemaProblems
  ProblemCount problem_count;           // of all, listed or not

  /// Null if not known.
  const DictionaryEntry* find(std::uint16_t ddi) const;
  /// The 32-bit value in the entry's unit, exact.
  static Number value(const DictionaryEntry& entry, std::uint32_t raw);
};

/// CSV with a header line that has at least ddi, name, unit, resolution in any order ("sign" = "unsigned" is
/// optional); fields may be in double quotes; # begins a comment line. A line that cannot be read is a
/// problem, the rest is used.
Dictionary parse_dictionary(std::string_view text, const std::string& file);

}  // namespace tramlog
