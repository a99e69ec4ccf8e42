// tramlog status, tramlog mark: short words with the recorder on this machine.
#include "tool/command.hpp"
#include "tool/live_option.hpp"

namespace tramlog {

void add_status_command(CLI::App& app, int& code) {
  struct Options {
    CommonOptions common;
    LiveOptions live;
  };
  auto options = std::make_shared<Options>();
  CLI::App* command = app.add_subcommand("status", "How the recorder on this machine is doing: buses, disk, what stands open");
  command->add_option("--format", options->common.format, "One of: json, text")->capture_default_str();
  add_socket(*command, options->live);
  add_output(*command, options->common);
  command->footer(
      "Example:\n  tramlog status\n\nExit code: 0 all is well, 1 something needs attention, 2 wrong usage, 4 no recorder\nrunning, or no "
      "permission to ask it.");
  command->callback([options, &code] {
    code = ask_and_deliver(options->live, options->common, {{"do", "status"}, {"format", options->common.format}});
  });
}

void add_mark_command(CLI::App& app, int& code) {
  struct Options {
    std::string text;
    CommonOptions common;
    LiveOptions live;
  };
  auto options = std::make_shared<Options>();
  CLI::App* command = app.add_subcommand("mark", "A note of yours at this moment, into the recording and its report");
  command->add_option("NOTE", options->text, "What happened, or what you did, in a sentence")->required();
  add_socket(*command, options->live);
  command->footer("Example:\n  tramlog mark \"seed hose of row 3 refitted\"\n\nExit code: 0 noted, 2 wrong usage, 4 no recorder running, or no permission.");
  command->callback([options, &code] {
    code = ask_and_deliver(options->live, options->common, {{"do", "mark"}, {"text", options->text}});
  });
}

}  // namespace tramlog
