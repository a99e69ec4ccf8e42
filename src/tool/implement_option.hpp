// Options of the commands that look at implements: limits, and device descriptions that are known beforehand.
#pragma once

#include "tool/command.hpp"

namespace tramlog {

/// --limits, --device-description, --library.
void add_implement(CLI::App& command, CommonOptions& options);

}  // namespace tramlog
