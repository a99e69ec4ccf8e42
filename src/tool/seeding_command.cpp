// tramlog seeding: did the implement do what it was told?
#include "implement/limits.hpp"
#include "report/format.hpp"
#include "tool/command.hpp"
#include "tool/implement_option.hpp"

namespace tramlog {
namespace {

/// Attention on any line, whether or not the report folds it under a dropout.
bool needs_attention(const Conclusions& all) {
  const auto attention = [](const std::vector<CheckLine>& lines) {
    for (const CheckLine& line : lines)
      if (line.verdict == Verdict::attention) return true;
    return false;
  };
  for (const ImplementRecord& implement : all.seeding.implements)
    if (attention(implement.lines)) return true;
  return attention(all.seeding.lines);
}

int run(const CommonOptions& options, bool print_limits) {
  if (print_limits) return deliver(options, SeedingLimits::built_in_text(), kFine);
  if (options.captures.empty())
    return fail({ErrorKind::usage, "no capture is named", "tramlog seeding", "name one, or - for standard input"});
  const Format* format = find_format(options.format);
  if (format == nullptr)
    return fail({ErrorKind::usage, "unknown format \"" + options.format + "\"", "--format",
                 "choose one of: " + format_names()});
  auto report = examine(options);
  if (!report) return fail(report.error());
  int code = exit_code_of(*report);
  if (code != kDamagedInput) code = needs_attention(report->found) ? kSomethingWrong : kFine;
  return deliver(options, format->seeding(*report, {options.unicode, options.place}), code);
}

}  // namespace

void add_seeding_command(CLI::App& app, int& code) {
  auto options = std::make_shared<CommonOptions>();
  auto print_limits = std::make_shared<bool>(false);
  CLI::App* command = app.add_subcommand(
      "seeding", "Did the implement do what it was told: rates, sections, work state, speed, totals");
  add_captures(*command, *options, false);
  add_roster(*command, *options, false);
  add_schema(*command, *options);
  add_implement(*command, *options);
  command->add_flag("--print-limits", *print_limits, "Write the built-in limits with their reasons, and nothing else");
  add_format(*command, *options);
  add_place(*command, *options);
  add_output(*command, *options);
  command->footer(
      "Example:\n  tramlog seeding headland-to-headland.pcapng.zst\n"
      "  tramlog seeding --print-limits -o limits.toml     (change them there)\n"
      "  tramlog seeding --limits limits.toml run.pcapng\n\n"
      "A run-up with fans, meters or raised parts follows the machine's manual and local rules. The check-list does\n"
      "not replace calibration.\n\n"
      "Exit code: 0 no line needs attention, 1 one does, 2 wrong usage, 3 a capture is damaged or\n"
      "unreadable, 4 the environment failed.");
  command->callback([options, print_limits, &code] { code = run(*options, *print_limits); });
}

}  // namespace tramlog
