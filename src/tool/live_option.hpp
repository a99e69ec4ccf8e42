// --live and --socket: instead of captures the recorder that runs on this machine is asked.
#pragma once

#include <nlohmann/json.hpp>

#include "control/client.hpp"
#include "tool/command.hpp"

namespace tramlog {

struct LiveOptions {
  bool live = false;
  std::string socket;    // set to the usual one by add_live
  std::string position;  // file for what a live report covers; empty: not wanted
};

void add_socket(CLI::App& command, LiveOptions& options);
/// --live as well.
void add_live(CLI::App& command, LiveOptions& options);
/// --position, for commands that report.
void add_position(CLI::App& command, LiveOptions& options);

/// A usage error if captures are named with --live, none without it, or options are given that the recorder has of its own.
std::optional<Error> check_live(const LiveOptions& live, const CommonOptions& options);

/// Sends the request, delivers the body, gives the exit code.
int ask_and_deliver(const LiveOptions& live, const CommonOptions& options, const nlohmann::json& request);

/// "report" or "rollcall" with format and roster of the options.
Result<nlohmann::json> live_request(const CommonOptions& options, bool rollcall);

/// What the recorder hears from now on, as it hears it.
class LiveStream {
 public:
  static Result<LiveStream> open(const LiveOptions& live);
  /// The recorder's own, if it has one.
  const std::optional<Roster>& roster() const;
  LiveStream(LiveStream&&) noexcept;
  LiveStream& operator=(LiveStream&&) = delete;
  ~LiveStream();
  /// The next events, waited for; empty when the recorder has ended.
  std::span<const Event> read();

 private:
  struct Impl;
  explicit LiveStream(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

}  // namespace tramlog
