// tramlog, the command-line tool: wiring only.
#include <csignal>

#include "io/unfinished.hpp"
#include "tool/command.hpp"
#include "tool/completion.hpp"

int main(int argc, char** argv) {
  using namespace tramlog;
  // A reader that has gone is an error of writing, told with its exit code, not a silent end.
  std::signal(SIGPIPE, SIG_IGN);
  // So is a file that grows beyond the limit of a shell or a quota.
  std::signal(SIGXFSZ, SIG_IGN);
  remove_unfinished_at_signals();
  CLI::App app{"Examines recordings of the CAN bus between a tractor and its implement (ISO 11783).",
               "tramlog"};
  app.require_subcommand(1);
  app.set_version_flag("--version", TRAMLOG_VERSION);
  app.footer(
      "Example:\n  tramlog report --roster drill.toml monday.pcapng\n\nEach subcommand has --help of its "
      "own.");
  int code = kFine;
  add_report_command(app, code);
  add_rollcall_command(app, code);
  add_roster_command(app, code);
  add_schema_command(app, code);
  add_decode_command(app, code);
  add_export_command(app, code);
  add_devices_command(app, code);
  add_seeding_command(app, code);
  add_status_command(app, code);
  add_mark_command(app, code);
  add_replay_command(app, code);
  add_cut_command(app, code);
  add_parcel_command(app, code);
  add_compare_command(app, code);
  add_mend_command(app, code);
  add_completion_command(app, code);
  try {
    app.parse(argc, argv);
  } catch (const CLI::Success& asked_for_help) {
    return app.exit(asked_for_help);
  } catch (const CLI::ParseError& error) {
    const bool unknown = argc > 1 && argv[1][0] != '-' && app.get_subcommands().empty();
    return fail({ErrorKind::usage, unknown ? "unknown subcommand" : error.what(),
                 unknown ? argv[1] : "command line", "see tramlog --help"});
  }
  return code;
}
