// What other commands do with a parcel.
#pragma once

#include <string>

#include "tool/command.hpp"

namespace tramlog {

/// tramlog report PARCEL: the report that is in it, in the format that was asked for, with its exit code.
int deliver_stored_report(const CommonOptions& options, const std::string& path);

}  // namespace tramlog
