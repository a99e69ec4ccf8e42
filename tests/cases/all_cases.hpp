// The folders under captures/ that are cases.
#pragma once

#include <string>
#include <vector>

namespace tramlog::cases {

struct Case {
  std::string name, folder, capture, roster;  // roster: empty if it has none
};

/// By name.
std::vector<Case> all_cases();

/// "TRAMLOG report --format json --roster .. "; the capture is to follow.
std::string report_command(const Case& one, const std::string& format);

}  // namespace tramlog::cases
