// What the subcommands share: options, examining captures, exit codes (contract).
#pragma once

#include <CLI/CLI.hpp>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/result.hpp"
#include "decode/interpreter.hpp"
#include "exam/roster.hpp"
#include "io/capture_reader.hpp"
#include "outfit/user_files.hpp"
#include "report/report.hpp"
#include "schema/schema.hpp"
#include "schema/units.hpp"

namespace tramlog {

enum ExitCode : int { kFine = 0, kSomethingWrong = 1, kUsage = 2, kDamagedInput = 3, kEnvironment = 4 };

struct CommonOptions : UserFiles {
  std::vector<std::string> captures;
  std::string format = "text";
  std::string output;  // empty: standard output
  bool unicode = false;
  bool place = false;
  std::string from, to, units;      // empty: not given
};

/// `required` = false: a command that can do without says so itself.
void add_captures(CLI::App& command, CommonOptions& options, bool required = true);
void add_roster(CLI::App& command, CommonOptions& options, bool required);
void add_format(CLI::App& command, CommonOptions& options);
/// --place.
void add_place(CLI::App& command, CommonOptions& options);
void add_output(CLI::App& command, CommonOptions& options);
void add_schema(CLI::App& command, CommonOptions& options);
void add_time_span(CLI::App& command, CommonOptions& options);
void add_units(CLI::App& command, CommonOptions& options);
/// --controller, --message, --signal, --bus, --changes.
void add_filter(CLI::App& command, DecodeFilter& filter);

/// Prints "tramlog: <what> : <where> : <what to do>" to standard error and gives the contract's exit code.
int fail(const Error& error);

/// As above; for problems of files that can be used all the same.
void tell_problem(const Error& error);

/// --from and --to into the filter; a usage error if one is no time.
std::optional<Error> parse_time_span(const CommonOptions& options, DecodeFilter& filter);
/// --units; none if it was not given.
Result<std::optional<UnitSystem>> parse_units(const CommonOptions& options);

/// A usage error if the output is one of the inputs, or an input is named twice.
std::optional<Error> check_paths(const CommonOptions& options);

/// A usage error if two of the captures, read to their end, were copies of each other: every frame would
/// count twice.
std::optional<Error> check_copies(const CaptureSource& source);

/// Tells on standard error what could not be read or put together; the exit code. `done` is what happened to
/// the rest: "decoded", "exported".
int tell_losses(const CaptureSource& source, const DecodeLosses& losses, const char* done);

/// What may stand between captures and examiner (a private parcel).
struct Intervention {
  /// The events as they are to be examined; valid until the next call.
  std::function<std::span<const Event>(std::span<const Event>)> events;
  std::function<void(ImplementOptions&)> implements;
};

/// Reads all captures in time order and examines them. Progress goes to standard error if it is a terminal.
Result<Report> examine(const CommonOptions& options, const std::optional<Roster>& roster,
                       const Schema& schema, const Intervention& intervention = {});

/// The same with the roster and the schema that the options name.
Result<Report> examine(const CommonOptions& options);

/// Damage beats faults: what was read is reported, but it is not all.
int exit_code_of(const Report& report);

/// Writes a result to the output that the user chose; its error decides the exit code, else `code`.
int deliver(const CommonOptions& options, std::string_view text, int code);

/// Each subcommand adds itself and leaves its exit code in `code` when it ran.
void add_report_command(CLI::App& app, int& code);
void add_rollcall_command(CLI::App& app, int& code);
void add_roster_command(CLI::App& app, int& code);
void add_decode_command(CLI::App& app, int& code);
void add_export_command(CLI::App& app, int& code);
void add_schema_command(CLI::App& app, int& code);
void add_devices_command(CLI::App& app, int& code);
void add_seeding_command(CLI::App& app, int& code);
void add_status_command(CLI::App& app, int& code);
void add_mark_command(CLI::App& app, int& code);
void add_replay_command(CLI::App& app, int& code);
void add_cut_command(CLI::App& app, int& code);
void add_parcel_command(CLI::App& app, int& code);
void add_compare_command(CLI::App& app, int& code);
void add_mend_command(CLI::App& app, int& code);

}  // namespace tramlog
