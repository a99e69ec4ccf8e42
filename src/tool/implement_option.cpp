#include "tool/implement_option.hpp"

namespace tramlog {

void add_implement(CLI::App& command, CommonOptions& options) {
  command.add_option(
      "--limits", options.limits,
      "Limits of the checks of the bus and of the seeding check-list (TOML); see --print-limits");
  command.add_option("--cause-weights", options.causes,
                     "Weights of the causes (TOML); see tramlog report --print-cause-weights");
  command
      .add_option("--device-description", options.descriptions,
                  "A device description for implements that upload none: a file written by tramlog devices "
                  "--save, or a capture with "
                  "the upload; may be repeated")
      ->allow_extra_args(false);
  command.add_option("--library", options.library,
                     "Folder of device descriptions seen before (default: tramlog-pools beside the roster)");
}

}  // namespace tramlog
