// Completions for shells, made from the command line's own description, so that they cannot differ from it.
#pragma once

#include <CLI/CLI.hpp>
#include <string>

namespace tramlog {

/// A script for "bash", "zsh" or "fish"; empty for other shells.
std::string completion_script(const CLI::App& app, const std::string& shell);

void add_completion_command(CLI::App& app, int& code);

}  // namespace tramlog
