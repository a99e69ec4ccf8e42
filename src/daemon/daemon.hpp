// tramlogd put together: one run, from the opened folder to the last synced byte.
#pragma once

#include <memory>
#include <string>

#include "base/result.hpp"
#include "daemon/config.hpp"

namespace tramlog {

class Daemon {
 public:
  /// `config_path` is read again on SIGHUP; `config_named`: the user named it, so it must be there.
  Daemon(Config config, std::string config_path, bool config_named);
  ~Daemon();
  Daemon(const Daemon&) = delete;
  Daemon& operator=(const Daemon&) = delete;

  /// Until SIGTERM or SIGINT. An error if the run could not begin.
  std::optional<Error> run();

 private:
  class Impl;
  std::unique_ptr<Impl> impl_;
};

/// Loads and checks everything that the configuration names: roster, schema, limits, weights, descriptions. The first error, and all
/// problems of files that can be used through `tell`.
std::optional<Error> check_machine_files(const UserFiles& files, const TellProblem& tell);

}  // namespace tramlog
