// tramlog replay: plays captures onto CAN interfaces.
#include <fmt/format.h>

#include <cmath>

#include "exam/words.hpp"
#include "tool/command.hpp"
#include "tool/interruption.hpp"
#include "wire/replay.hpp"

namespace tramlog {
namespace {

constexpr SpanNs kListen = 3 * kSecond;
constexpr const char* kCaution =
    "This transmits. On a machine it can start fans, meters and moving parts: only onto a bus of your own on the bench,\n"
    "or with everybody away from moving parts and raised parts secured. Local rules and the machine's manual come first.\n";

struct ReplayCommand {
  CommonOptions common;
  std::vector<std::string> onto;
  double speed = 1;
  double longest_pause_s = 0;
  int despite_traffic = 0;
};

Result<std::vector<ReplayRoute>> routes_of(const std::vector<std::string>& onto) {
  std::vector<ReplayRoute> routes;
  for (const std::string& one : onto) {
    const std::size_t equals = one.find('=');
    ReplayRoute route{equals == std::string::npos ? "*" : one.substr(0, equals), equals == std::string::npos ? one : one.substr(equals + 1)};
    if (route.bus.empty() || route.interface.empty() || route.interface.find('=') != std::string::npos)
      return Error{ErrorKind::usage, "neither an interface nor BUS=INTERFACE", one, "write vcan0, or can1=vcan0 for one bus of the capture"};
    routes.push_back(std::move(route));
  }
  return routes;
}

/// --from and --to need the capture's first moment, the same as for decode.
std::optional<Error> span_of(const ReplayCommand& command, ReplayOptions& options) {
  if (command.common.from.empty() && command.common.to.empty()) return std::nullopt;
  auto source = CaptureSource::open(command.common.captures);
  if (!source) return source.error();
  std::optional<TimeNs> start;
  for (std::span<const Event> events = source->read(); !events.empty() && !start; events = source->read())
    for (const Event& event : events)
      if (event.is_timed() && !start) start = event.time;
  const auto bound = [&](const std::string& text, const char* option, std::optional<TimeNs>& into) -> std::optional<Error> {
    if (text.empty()) return std::nullopt;
    const auto parsed = parse_time_bound(text, option);
    if (!parsed) return parsed.error();
    into = parsed.value().resolve(start.value_or(0));
    return std::nullopt;
  };
  if (auto error = bound(command.common.from, "--from", options.from)) return error;
  return bound(command.common.to, "--to", options.to);
}

int run(const ReplayCommand& command) {
  if (!(command.speed > 0 && command.speed <= 1e6))
    return fail({ErrorKind::usage, "the speed must be above 0", "--speed", "2 plays twice as fast, 0.5 half as fast"});
  auto routes = routes_of(command.onto);
  if (!routes) return fail(routes.error());
  ReplayOptions options;
  options.routes = std::move(*routes);
  options.pace.factor = command.speed;
  if (!(command.longest_pause_s >= 0))
    return fail({ErrorKind::usage, "the longest pause must be above 0", "--longest-pause", "give seconds"});
  if (command.longest_pause_s > 0) options.pace.longest_pause = std::llround(std::min(command.longest_pause_s, 1e9) * 1e9);
  if (const auto error = span_of(command, options)) return fail(*error);
  auto source = CaptureSource::open(command.common.captures);
  if (!source) return fail(source.error());

  std::vector<std::string> interfaces;
  for (const ReplayRoute& route : options.routes) interfaces.push_back(route.interface);
  fmt::print(stderr, "{}", kCaution);
  auto& stop = interruption();
  const auto talkers = who_talks(interfaces, kListen, &stop);
  if (!talkers) return fail(talkers.error());
  if (const std::string busy = busy_text(talkers.value()); !busy.empty() && command.despite_traffic < 2)
    return fail({ErrorKind::environment, busy + "; nothing was sent", "replay",
                 "take an interface of its own; if you really want to talk into this bus, give --despite-traffic twice"});
  if (stop) return fail({ErrorKind::environment, "interrupted before anything was sent", "replay", "start again"});
  const auto tally = replay(*source, options, &stop);
  if (!tally) return fail(tally.error());
  const ReplayTally& t = tally.value();
  std::string text = fmt::format("{} sent in {}, at most {} behind their time{}\n", counted(t.sent, "frame", "frames"), format_span(t.took),
                                 format_span(t.latest), t.interrupted ? "; interrupted" : "");
  const auto left_out = [&](std::uint64_t count, const char* what) {
    if (count > 0) text += fmt::format("left out: {} {}\n", count, what);
  };
  left_out(t.errors, "error frames");
  left_out(t.foreign, "packets that are no whole CAN frames");
  left_out(t.unrouted, "frames of buses without --onto");
  left_out(t.no_fd, "CAN FD frames, which the interface does not take");
  left_out(t.outside, "frames outside --from and --to");
  if (t.waits > 0) text += fmt::format("{} had to wait for room in the interface's queue\n", counted(t.waits, "frame", "frames"));
  if (t.cut_pauses > 0) text += fmt::format("{} shortened\n", counted(t.cut_pauses, "pause was", "pauses were"));
  return deliver(command.common, text, t.interrupted ? kEnvironment : kFine);
}

}  // namespace

void add_replay_command(CLI::App& app, int& code) {
  auto options = std::make_shared<ReplayCommand>();
  CLI::App* command = app.add_subcommand("replay", "Plays captures onto a CAN interface, at their own pace or a factor of it");
  add_captures(*command, options->common);
  command->add_option("--onto", options->onto, "Interface to play onto; BUS=INTERFACE for one bus of the capture; again and again")
      ->required()
      ->allow_extra_args(false);
  command->add_option("--speed", options->speed, "2 plays twice as fast")->capture_default_str();
  command->add_option("--longest-pause", options->longest_pause_s, "Seconds; longer pauses of the capture are cut to it");
  add_time_span(*command, options->common);
  command->add_flag("--despite-traffic", options->despite_traffic,
                    "Given twice: even if other controllers are talking on the interface");
  command->footer(
      "Example:\n  tramlog replay --onto vcan0 --from 06:12:00 monday.pcapng\n\nListens for three seconds first and refuses if anybody talks there. This transmits: only onto "
      "a bus of your own,\nor with everybody away from moving parts. Local rules and the machine's manual come first.\n\nExit code: 0 played, 2 wrong usage, 3 a capture cannot be read, 4 "
      "busy, interrupted, or the interface failed.");
  command->callback([options, &code] { code = run(*options); });
}

}  // namespace tramlog
