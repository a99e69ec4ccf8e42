// tramlog report, tramlog rollcall: examine captures and render what was found.
#include "report/format.hpp"
#include "tool/command.hpp"
#include "tool/implement_option.hpp"

namespace tramlog {
namespace {

int run(const CommonOptions& options, bool rollcall) {
  const Format* format = find_format(options.format);
  if (format == nullptr)
    return fail({ErrorKind::usage, "unknown format \"" + options.format + "\"", "--format",
                 "choose one of: " + format_names()});
  auto roster = load_roster_of(options);
  if (!roster) return fail(roster.error());
  auto schema = load_schema(options);
  if (!schema) return fail(schema.error());
  auto report = examine(options, *roster, *schema);
  if (!report) return fail(report.error());
  const auto render = rollcall ? format->rollcall : format->report;
  return deliver(options, render(*report, {options.unicode}), exit_code_of(*report));
}

}  // namespace

void add_report_command(CLI::App& app, int& code) {
  auto options = std::make_shared<CommonOptions>();
  CLI::App* command = app.add_subcommand(
      "report", "What was on this bus, what is missing, what failed, what most likely caused it");
  add_captures(*command, *options);
  add_roster(*command, *options, false);
  add_schema(*command, *options);
  add_implement(*command, *options);
  add_format(*command, *options);
  add_output(*command, *options);
  command->footer(
      "Example:\n  tramlog report --roster drill.toml monday-1.pcapng monday-2.pcapng.zst\n\n"
      "Exit code: 0 nothing wrong, 1 something wrong on the bus, 2 wrong usage,\n"
      "3 a capture is damaged or unreadable, 4 the environment failed.");
  command->callback([options, &code] { code = run(*options, false); });
}

void add_rollcall_command(CLI::App& app, int& code) {
  auto options = std::make_shared<CommonOptions>();
  CLI::App* command =
      app.add_subcommand("rollcall", "Is every expected controller here, with the expected software?");
  add_captures(*command, *options);
  add_roster(*command, *options, true);
  add_schema(*command, *options);
  add_format(*command, *options);
  add_output(*command, *options);
  command->footer(
      "Example:\n  tramlog rollcall --roster drill.toml start-up.pcapng\n\nExit codes as tramlog report.");
  command->callback([options, &code] { code = run(*options, true); });
}

}  // namespace tramlog
