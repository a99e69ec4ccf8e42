#include "tool/live_option.hpp"

#include <fmt/format.h>

#include <filesystem>

#include "control/words.hpp"
#include "io/capture_file_reader.hpp"
#include "io/text_file.hpp"

namespace tramlog {

void add_socket(CLI::App& command, LiveOptions& options) {
  options.socket = control::kUsualSocket;
  command.add_option("--socket", options.socket, "Socket of the recorder")->capture_default_str();
}

void add_live(CLI::App& command, LiveOptions& options) {
  command.add_flag("--live", options.live,
                   "Ask the recorder (tramlogd) that runs on this machine, instead of reading captures");
  add_socket(command, options);
}

void add_position(CLI::App& command, LiveOptions& options) {
  command.add_option("--position", options.position,
                     "With --live: write to this file which segment the answer reaches into and how many "
                     "bytes of it (for programs)");
}

std::optional<Error> check_live(const LiveOptions& live, const CommonOptions& options) {
  if (!live.live) {
    if (!options.captures.empty()) return std::nullopt;
    return Error{ErrorKind::usage, "no CAPTURE given", "command line",
                 "name captures, or --live for the recorder on this machine"};
  }
  if (!options.captures.empty())
    return Error{ErrorKind::usage, "--live asks the recorder and reads no captures", options.captures.front(),
                 "leave out one of them"};
  return std::nullopt;
}

Result<nlohmann::json> live_request(const CommonOptions& options, bool rollcall) {
  if (!options.schema.empty() || !options.limits.empty() || !options.causes.empty() ||
      !options.descriptions.empty() || !options.library.empty())
    return Error{ErrorKind::usage,
                 "schema, limits, weights and descriptions of a live report are the recorder's own", "--live",
                 "name them in its configuration ([machine] in tramlogd.toml)"};
  nlohmann::json request = {
      {"do", rollcall ? "rollcall" : "report"}, {"format", options.format}, {"unicode", options.unicode}, {"place", options.place}};
  if (!options.roster.empty()) {
    auto text = read_text_file(options.roster, kMaxRosterBytes);
    if (!text) return text.error();
    request["roster"] = *text;
    request["roster_name"] = std::filesystem::path(options.roster).filename().string();
  }
  return request;
}

int ask_and_deliver(const LiveOptions& live, const CommonOptions& options, const nlohmann::json& request) {
  auto answer = control::ask(live.socket, request);
  if (!answer) return fail(answer.error());
  if (const auto unrecorded = control::number_of(answer->head, "unrecorded"); unrecorded > 0)
    fmt::print(stderr,
               "tramlog: {} frames of this report are not in the recording : {} : the recorder's disk takes "
               "nothing; see tramlog status\n",
               unrecorded, live.socket);
  if (!live.position.empty()) {
    const auto written =
        write_text(live.position, fmt::format("{} {}\n", control::text_of(answer->head, "segment", "-"),
                                              control::number_of(answer->head, "segment_bytes")));
    if (!written) return fail(written.error());
  }
  return deliver(options, answer->body, static_cast<int>(control::number_of(answer->head, "exit")));
}

struct LiveStream::Impl {
  BusTable buses;
  std::optional<Roster> roster;
  std::unique_ptr<CaptureFileReader> reader;
  std::uint64_t next_number = 1;
};

LiveStream::LiveStream(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
LiveStream::LiveStream(LiveStream&&) noexcept = default;
LiveStream::~LiveStream() = default;

Result<LiveStream> LiveStream::open(const LiveOptions& live) {
  nlohmann::json head;
  const auto descriptor = control::follow(live.socket, {{"do", "follow"}}, &head);
  if (!descriptor) return descriptor.error();
  auto impl = std::make_unique<Impl>();
  if (const std::string text = control::text_of(head, "roster"); !text.empty())
    if (auto roster = parse_roster(text, control::text_of(head, "roster_name")))
      impl->roster = std::move(*roster);
  impl->reader = std::make_unique<CaptureFileReader>(
      std::make_unique<ByteWindow>(std::make_unique<FileSource>(descriptor.value(), true)),
      CaptureFormat::pcapng, impl->buses, 0, 0);
  return LiveStream(std::move(impl));
}

const std::optional<Roster>& LiveStream::roster() const {
  return impl_->roster;
}

std::span<const Event> LiveStream::read() {
  while (!impl_->reader->ended()) {
    const std::span<const Event> events = impl_->reader->read(impl_->next_number);
    for (const Event& event : events)
      if (event.number != 0) impl_->next_number = event.number + 1;
    if (!events.empty()) return events;
  }
  return {};
}

}  // namespace tramlog
