// The seeding check-list for people.
#pragma once

#include <string>

#include "report/format.hpp"

namespace tramlog {

/// What stands above every check-list: a run-up can hurt somebody, and figures do not replace calibration.
extern const char* const kSeedingCaution;

std::string seeding_page(const Report& report, const FormatOptions& options);

}  // namespace tramlog
