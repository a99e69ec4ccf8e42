// tramlog roster learn, tramlog roster check.
#include <fmt/format.h>

#include "tool/command.hpp"

namespace tramlog {
namespace {

int learn(const CommonOptions& options, const std::string& machine) {
  auto report = examine(options, std::nullopt, Schema::built_in());
  if (!report) return fail(report.error());
  const Conclusions& found = report->found;
  std::vector<LearnedController> learned;
  for (const ControllerRecord& controller : found.controllers)
    learned.push_back({controller.name, controller.address, controller.software});
  if (learned.empty())
    return fail({ErrorKind::input, "no controller claimed an address in this capture",
                 options.captures.front(),
                 "record from before the key is switched on, or let a display ask for address claims"});
  const int code = exit_code_of(*report);
  if (code == kSomethingWrong)
    fmt::print(stderr,
               "tramlog: something is wrong on the bus of this capture : {} : read tramlog report first; the "
               "roster holds what was heard\n",
               options.captures.front());
  return deliver(options, write_roster(machine, learned), code);
}

int check(const CommonOptions& options) {
  auto roster = load_roster(options.roster);
  if (!roster) return fail(roster.error());
  std::string text;
  for (const std::string& warning : roster->warnings) text += warning + "\n";
  unsigned required = 0;
  for (const RosterEntry& entry : roster->entries) required += entry.required;
  text += fmt::format("{}: {} controllers, {} of them required{}\n", options.roster, roster->entries.size(),
                      required,
                      roster->warnings.empty() ? "; nothing to complain about"
                                               : fmt::format("; {} warnings", roster->warnings.size()));
  return deliver(options, text, kFine);
}

}  // namespace

void add_roster_command(CLI::App& app, int& code) {
  CLI::App* roster = app.add_subcommand("roster", "The list of expected controllers: learn it, check it");
  roster->require_subcommand(1);
  roster->footer(
      "Examples:\n  tramlog roster learn --machine \"Larkfield 9 m air drill\" good-day.pcapng -o "
      "drill.toml\n"
      "  tramlog roster check drill.toml");

  auto learn_options = std::make_shared<CommonOptions>();
  auto machine = std::make_shared<std::string>();
  CLI::App* learn_command = roster->add_subcommand("learn", "Write the roster of a good capture");
  add_captures(*learn_command, *learn_options);
  add_output(*learn_command, *learn_options);
  learn_command->add_option("--machine", *machine, "Name of the machine, written into the roster");
  learn_command->footer(
      "Example:\n  tramlog roster learn --machine \"Larkfield 9 m air drill\" good-day.pcapng -o drill.toml");
  learn_command->callback([=, &code] { code = learn(*learn_options, *machine); });

  auto check_options = std::make_shared<CommonOptions>();
  CLI::App* check_command = roster->add_subcommand("check", "Read a roster and tell what is wrong with it");
  check_command->add_option("ROSTER", check_options->roster, "The roster (TOML)")->required();
  check_command->footer("Example:\n  tramlog roster check drill.toml");
  check_command->callback([=, &code] { code = check(*check_options); });
}

}  // namespace tramlog
