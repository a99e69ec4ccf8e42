// Holds a report against the truth file of the simulator: what was staged must be what is reported.
#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <vector>

namespace tramlog::cases {

/// Everything in which the report (tramlog.report/1) departs from the truth (tramlog.truth/1); empty if nothing.
std::vector<std::string> departures(const nlohmann::json& report, const nlohmann::json& truth);

}  // namespace tramlog::cases
