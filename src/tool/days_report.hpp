// tramlog report on folders: one day's report, or the overview of several.
#pragma once

#include "tool/command.hpp"

namespace tramlog {

/// Folders replaced by the captures in them. Errors: as captures_in_folder().
std::optional<Error> unfold_folders(std::vector<std::string>& captures);

/// Some of the captures named is a folder, or one day was asked for.
bool wants_days(const CommonOptions& options, const std::string& day);

/// `day`: "2026-11-24", or empty for all. Gives the exit code.
int report_days(CommonOptions options, const std::string& day);

}  // namespace tramlog
