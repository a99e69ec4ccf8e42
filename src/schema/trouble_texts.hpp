// Words for trouble codes (J1939-73): suspect parameters and failure modes. From dbc/trouble-codes.csv.
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "schema/problem.hpp"

namespace tramlog {

struct TroubleTexts {
  std::string file;
  std::map<std::uint32_t, std::string> spn;  // 19 bit
  std::map<std::uint8_t, std::string> fmi;   // 5 bit
  std::vector<SchemaProblem> problems;       // at most kMaxSchemaProblems
  ProblemCount problem_count;                // of all, listed or not
};

/// CSV with the header kind,number,text; kind is "spn" or "fmi"; # begins a comment line. A line that cannot
/// be read is a problem, the rest is used.
TroubleTexts parse_trouble_texts(std::string_view text, const std::string& file);

}  // namespace tramlog
