// What the subcommands share: options, examining captures, exit codes (contract).
#pragma once

#include <CLI/CLI.hpp>
#include <optional>
#include <string>
#include <vector>

#include "base/result.hpp"
#include "exam/roster.hpp"
#include "report/report.hpp"

namespace tramlog {

enum ExitCode : int { kFine = 0, kSomethingWrong = 1, kUsage = 2, kDamagedInput = 3, kEnvironment = 4 };

struct CommonOptions {
  std::vector<std::string> captures;
  std::string roster;
  std::string format = "text";
  std::string output;  // empty: standard output
  bool unicode = false;
};

void add_captures(CLI::App& command, CommonOptions& options);
void add_roster(CLI::App& command, CommonOptions& options, bool required);
void add_format(CLI::App& command, CommonOptions& options);
void add_output(CLI::App& command, CommonOptions& options);

/// Prints "tramlog: <what> : <where> : <what to do>" to standard error and gives the contract's exit code.
int fail(const Error& error);

Result<Roster> load_roster(const std::string& path);

/// Reads all captures in time order and examines them. Progress goes to standard error if it is a terminal.
Result<Report> examine(const CommonOptions& options, const std::optional<Roster>& roster);

/// Damage beats faults: what was read is reported, but it is not all.
int exit_code_of(const Report& report);

/// Writes a result to the output that the user chose; its error decides the exit code, else `code`.
int deliver(const CommonOptions& options, std::string_view text, int code);

/// Each subcommand adds itself and leaves its exit code in `code` when it ran.
void add_report_command(CLI::App& app, int& code);
void add_rollcall_command(CLI::App& app, int& code);
void add_roster_command(CLI::App& app, int& code);

}  // namespace tramlog
