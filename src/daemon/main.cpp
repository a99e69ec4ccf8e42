// tramlogd, the recorder: wiring only.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <csignal>
#include <cstdio>
#include <filesystem>

#include "base/text.hpp"
#include "daemon/config.hpp"
#include "daemon/daemon.hpp"
#include "daemon/journal.hpp"

namespace {

using namespace tramlog;

constexpr int kFine = 0, kUsage = 2, kDamagedInput = 3, kEnvironment = 4;

int fail(const Error& error) {
  fmt::print(stderr, "tramlog: {} : {} : {}\n", printable_utf8(error.what), printable_utf8(error.where), printable_utf8(error.remedy));
  return error.kind == ErrorKind::usage ? kUsage : error.kind == ErrorKind::input ? kDamagedInput : kEnvironment;
}

}  // namespace

int main(int argc, char** argv) {
  std::signal(SIGPIPE, SIG_IGN);
  std::signal(SIGXFSZ, SIG_IGN);  // a file size limit is a disk that takes no more
  CLI::App app{
      "Records the CAN buses of this machine, examines them while it records, and answers tramlog status, report --live and others. Only "
      "listens: it sends nothing, and changes an interface only if its configuration says so.",
      "tramlogd"};
  app.set_version_flag("--version", TRAMLOG_VERSION);
  app.footer("Example:\n  tramlogd --config /etc/tramlog/tramlogd.toml\n\nExit code: 0 stopped in good order, 2 wrong usage or configuration, 3 a file that the\n"
             "configuration names is damaged, 4 the environment failed.");
  std::string path = kUsualConfig;
  bool check = false, print = false;
  auto* named = app.add_option("--config", path, "Configuration (TOML); without this option a missing file is no error")->capture_default_str();
  app.add_flag("--check-config", check, "Check the configuration and the files that it names, and end");
  app.add_flag("--print-config", print, "Print the built-in configuration: every key with its default and reason");
  try {
    app.parse(argc, argv);
  } catch (const CLI::Success& asked) {
    return app.exit(asked);
  } catch (const CLI::ParseError& error) {
    return fail({ErrorKind::usage, error.what(), "command line", "see tramlogd --help"});
  }
  if (print) {
    const auto text = built_in_config_text();
    return std::fwrite(text.data(), 1, text.size(), stdout) == text.size() && std::fflush(stdout) == 0 ? kFine : kEnvironment;
  }
  const bool config_named = named->count() > 0;
  auto config = load_config(path, !config_named);
  if (!config) return fail(config.error());
  if (check) {
    if (const auto error = check_machine_files(config->machine, [](const Error& problem) { fail(problem); })) return fail(*error);
    std::error_code ignored;
    if (std::filesystem::exists(path, ignored))
      fmt::print("{} is in order\n", path);
    else
      fmt::print("{} is not there: the built-in configuration is in force (tramlogd --print-config)\n", path);
    return kFine;
  }
  open_journal(config->journal_level);
  Daemon daemon(std::move(*config), path, config_named);
  if (const auto error = daemon.run()) return fail(*error);
  return kFine;
}
