// Options of the commands that look at implements: limits, and device descriptions that are known beforehand.
#pragma once

#include "implement/implement_watch.hpp"
#include "tool/command.hpp"

namespace tramlog {

/// --limits, --device-description, --library.
void add_implement(CLI::App& command, CommonOptions& options);

/// What they name. Errors: a file that cannot be opened or makes no sense. A library folder that is not there is empty.
Result<ImplementOptions> load_implement_options(const CommonOptions& options, const Schema& schema);

/// The library's folder: the one of --library; else `tramlog-pools` beside the roster; else in the user's data folder. Empty: none.
std::string library_folder(const CommonOptions& options);

}  // namespace tramlog
