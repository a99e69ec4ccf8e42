// tramlog report, tramlog rollcall: examine captures and render what was found.
#include <utility>

#include "parcel/unpack.hpp"
#include "report/format.hpp"
#include "tool/ask_command.hpp"
#include "tool/command.hpp"
#include "tool/days_report.hpp"
#include "tool/implement_option.hpp"
#include "tool/live_option.hpp"
#include "tool/parcel_command.hpp"

namespace tramlog {
namespace {

struct PrintChoice {
  bool limits = false, weights = false;
  std::string day;  // of a folder of captures
};

// A parcel's report was made when the parcel was: the first of the options that came too late for it.
std::optional<Error> of_no_use_for_parcel(const CommonOptions& options, const PrintChoice& print) {
  const std::pair<bool, const char*> given[] = {
      {!options.roster.empty(), "--roster"},   {!print.day.empty(), "--day"},
      {!options.schema.empty(), "--schema"},   {!options.descriptions.empty(), "--device-description"},
      {!options.limits.empty(), "--limits"},   {!options.causes.empty(), "--cause-weights"},
      {!options.library.empty(), "--library"}, {options.place, "--place"}};
  for (const auto& [is_given, name] : given)
    if (is_given)
      return Error{ErrorKind::usage, "the report in a parcel is made already, and this would change it", name,
                   "leave it out, or examine the captures in the parcel: tramlog parcel --unpack"};
  return std::nullopt;
}

int run(const CommonOptions& options, const LiveOptions& live, const AskChoice& choice, bool rollcall,
        const PrintChoice& print = {}) {
  if (print.limits) return deliver(options, SeedingLimits::built_in_text(), kFine);
  if (print.weights) return deliver(options, CauseWeights::built_in_text(), kFine);
  if (choice.ask && !live.live)
    return fail({ErrorKind::usage, "--ask needs --live", "--ask",
                 "the recorder must be running on this machine: tramlog rollcall --live --ask"});
  if (!choice.ask && (!choice.bus.empty() || choice.manufacturer_code != 0 || choice.identity_number != 0))
    return fail({ErrorKind::usage, "--bus, --manufacturer-code and --identity-number belong to --ask",
                 "command line", "add --live --ask, or leave them out"});
  if (!live.live && !live.position.empty())
    return fail(
        {ErrorKind::usage, "--position belongs to --live", "--position", "add --live, or leave it out"});
  if (const auto error = check_live(live, options)) return fail(*error);
  const Format* format = find_format(options.format);
  if (format == nullptr)
    return fail({ErrorKind::usage, "unknown format \"" + options.format + "\"", "--format",
                 "choose one of: " + format_names()});
  if (choice.ask) return ask_and_call(choice, live, options);
  if (!rollcall && !live.live)
    for (const std::string& path : options.captures) {
      if (!is_parcel_file(path)) continue;
      if (options.captures.size() > 1)
        return fail({ErrorKind::usage, "a parcel holds a whole report and stands alone", path,
                     "name it alone, or unpack it and name its captures: tramlog parcel --unpack"});
      if (const auto error = of_no_use_for_parcel(options, print)) return fail(*error);
      return deliver_stored_report(options, path);
    }
  if (live.live) {
    auto request = live_request(options, rollcall);
    return request ? ask_and_deliver(live, options, *request) : fail(request.error());
  }
  if (rollcall && options.roster.empty())
    return fail(
        {ErrorKind::usage, "nobody said who should be on this machine", "--roster", "give --roster FILE"});
  if (!rollcall && wants_days(options, print.day)) return report_days(options, print.day);
  auto report = examine(options);
  if (!report) return fail(report.error());
  const auto render = rollcall ? format->rollcall : format->report;
  return deliver(options, render(*report, {options.unicode, options.place}), exit_code_of(*report));
}

}  // namespace

void add_report_command(CLI::App& app, int& code) {
  auto options = std::make_shared<CommonOptions>();
  auto live = std::make_shared<LiveOptions>();
  CLI::App* command = app.add_subcommand(
      "report", "What was on this bus, what is missing, what failed, what most likely caused it");
  add_captures(*command, *options, false);
  add_live(*command, *live);
  add_position(*command, *live);
  add_roster(*command, *options, false);
  add_schema(*command, *options);
  add_implement(*command, *options);
  auto print = std::make_shared<PrintChoice>();
  command->add_flag("--print-limits", print->limits,
                    "Write the built-in limits with their reasons, and nothing else");
  command->add_flag("--print-cause-weights", print->weights,
                    "Write the built-in weights of the causes with their reasons, and nothing else");
  command->add_option("--day", print->day, "Of a folder that holds several days: only this one (2026-11-24)");
  add_format(*command, *options);
  add_place(*command, *options);
  add_output(*command, *options);
  command->footer(
      "Example:\n  tramlog report --roster drill.toml monday-1.pcapng monday-2.pcapng.zst\n  tramlog report "
      "--live\n  tramlog report --format html -o pages/ /var/lib/tramlog\n\n"
      "A folder stands for the captures in it. If they are of several days, the report is an overview, day "
      "by day;\n"
      "--format html with -o FOLDER/ writes index.html and a page for each day.\n\n"
      "Exit code: 0 nothing wrong, 1 something wrong on the bus, 2 wrong usage,\n"
      "3 a capture is damaged or unreadable, 4 the environment failed.");
  command->callback([options, live, print, &code] { code = run(*options, *live, {}, false, *print); });
}

void add_rollcall_command(CLI::App& app, int& code) {
  auto options = std::make_shared<CommonOptions>();
  auto live = std::make_shared<LiveOptions>();
  auto choice = std::make_shared<AskChoice>();
  CLI::App* command =
      app.add_subcommand("rollcall", "Is every expected controller here, with the expected software?");
  add_captures(*command, *options, false);
  add_live(*command, *live);
  add_position(*command, *live);
  add_ask(*command, *choice);
  add_roster(*command, *options, false);
  add_schema(*command, *options);
  add_format(*command, *options);
  add_place(*command, *options);
  add_output(*command, *options);
  command->footer(
      "Example:\n  tramlog rollcall --roster drill.toml start-up.pcapng\n  tramlog rollcall --live "
      "--ask\n\nA roster is needed: --roster, or with --live the recorder's own. Exit codes as tramlog "
      "report.");
  command->callback([options, live, choice, &code] { code = run(*options, *live, *choice, true); });
}

}  // namespace tramlog
