// tramlog decode: every message in words and units.
#include <fmt/format.h>

#include "decode/explain.hpp"
#include "decode/json_lines.hpp"
#include "decode/text_story.hpp"
#include "exam/words.hpp"
#include "io/output_file.hpp"
#include "tool/command.hpp"
#include "tool/decode_explain.hpp"
#include "tool/live_option.hpp"
#include "tool/progress.hpp"

namespace tramlog {
namespace {

struct DecodeOptions {
  LiveOptions live;
  CommonOptions common;
  DecodeFilter filter;
  bool data = false;
  std::optional<std::uint64_t> explain;
};

std::unique_ptr<DecodeSink> make_sink(const DecodeOptions& options, std::optional<UnitSystem> units,
                                      OutputBuffer& out) {
  if (options.common.format == "json") return make_json_lines(out, {units, options.data});
  TextOptions text;
  text.units = units;
  text.unicode = options.common.unicode;
  text.data = options.data;
  return make_text_story(out, text);
}

int explain(const DecodeOptions& options, std::optional<UnitSystem> units, const Schema& schema,
            const std::optional<Roster>& roster) {
  auto source = CaptureSource::open(options.common.captures);
  if (!source) return fail(source.error());
  FrameFinder finder(schema, *options.explain, roster);
  Progress progress;
  while (!finder.done()) {
    const std::span<const Event> events = source->read();
    if (events.empty()) break;
    finder.take(events);
    progress.add(events.size());
  }
  if (!finder.found())
    return fail({ErrorKind::usage, fmt::format("there is no frame {}", *options.explain), "--explain",
                 finder.last_number() == 0 ? "the capture holds no frames"
                                           : fmt::format("frames are 1 to {}", finder.last_number())});
  ExplainInput input;
  input.frame = &finder.frame();
  input.message = finder.message();
  input.bus = finder.bus();
  input.from = finder.from() ? &*finder.from() : nullptr;
  input.to = finder.to() ? &*finder.to() : nullptr;
  ExplainOptions how;
  if (units) how.units = UnitChoice::all(*units);
  how.unicode = options.common.unicode;
  return deliver(options.common, explain_frame(schema, input, how), kFine);
}

int decode(const DecodeOptions& options, std::optional<UnitSystem> units, const Schema& schema,
           std::optional<Roster> roster) {
  std::unique_ptr<OutputFile> file;  // created when all that was asked for is understood
  OutputBuffer out([&](std::string_view bytes) { file->write(bytes); });
  const std::unique_ptr<DecodeSink> sink = make_sink(options, units, out);
  auto interpreter = Interpreter::make(schema, options.filter, std::move(roster), *sink);
  if (!interpreter) return fail(interpreter.error());
  auto source = CaptureSource::open(options.common.captures);
  if (!source) return fail(source.error());
  auto created = OutputFile::create(options.common.output);
  if (!created) return fail(created.error());
  file = std::move(*created);

  Interpreter& decoder = **interpreter;
  {
    Progress progress;
    while (!decoder.past_span() && !file->failed()) {
      const std::span<const Event> events = source->read();
      if (events.empty()) break;
      decoder.take(events);
      progress.add(events.size());
    }
  }
  decoder.finish();
  out.flush();
  const auto written = file->finish();
  if (!written) return fail(written.error());
  if (const auto error = check_copies(*source)) return fail(*error);
  const DecodeLosses& losses = decoder.losses();
  if (losses.beyond_cap > 0)
    fmt::print(
        stderr,
        "tramlog: {} came when too many identifiers were on the bus : captures : they are decoded, but "
        "--changes leaves none of them out\n",
        counted(losses.beyond_cap, "message", "messages"));
  if (losses.told == 0)
    fmt::print(
        stderr,
        "tramlog: nothing of what was chosen is in the capture : decode : check the filters; tramlog report "
        "tells who was there and when\n");
  return tell_losses(*source, losses, "decoded");
}

/// As it is heard, until it is interrupted or the recorder ends.
int decode_live(const DecodeOptions& options, std::optional<UnitSystem> units, const Schema& schema, std::optional<Roster> roster) {
  std::unique_ptr<OutputFile> file;
  OutputBuffer out([&](std::string_view bytes) { file->write(bytes); });
  const std::unique_ptr<DecodeSink> sink = make_sink(options, units, out);
  auto stream = LiveStream::open(options.live);
  if (!stream) return fail(stream.error());
  if (!roster) roster = stream->roster();
  auto interpreter = Interpreter::make(schema, options.filter, std::move(roster), *sink);
  if (!interpreter) return fail(interpreter.error());
  auto created = OutputFile::create(options.common.output);
  if (!created) return fail(created.error());
  file = std::move(*created);
  Interpreter& decoder = **interpreter;
  while (!decoder.past_span() && !file->failed()) {
    const std::span<const Event> events = stream->read();
    if (events.empty()) break;
    decoder.take(events);
    out.flush();
  }
  decoder.finish();
  out.flush();
  const auto written = file->finish();
  if (!written) return fail(written.error());
  if (decoder.past_span()) return kFine;
  return fail({ErrorKind::environment, "the recorder has ended, or this could not keep up with it", options.live.socket, "see tramlog status, then start again"});
}

int run(DecodeOptions& options) {
  if (const auto error = check_live(options.live, options.common)) return fail(*error);
  if (options.live.live && options.explain)
    return fail({ErrorKind::usage, "--explain takes a frame of a capture apart", "--explain", "leave out --live and name a capture"});
  if (options.common.format != "text" && options.common.format != "json")
    return fail({ErrorKind::usage, "unknown format \"" + options.common.format + "\"", "--format",
                 "choose one of: json, text"});
  if (options.explain && (options.common.format != "text" || options.filter.only_changes || options.data ||
                          !options.filter.controllers.empty() || !options.filter.messages.empty() ||
                          !options.filter.signals.empty() || !options.filter.buses.empty() ||
                          !options.common.from.empty() || !options.common.to.empty()))
    return fail({ErrorKind::usage, "--explain takes one frame apart, as text", "--explain",
                 "leave out --format, --data, --changes, --from, --to and the filters"});
  if (const auto error = parse_time_span(options.common, options.filter)) return fail(*error);
  const auto units = parse_units(options.common);
  if (!units) return fail(units.error());
  if (const auto error = check_paths(options.common)) return fail(*error);
  auto roster = load_roster_if_named(options.common.roster);
  if (!roster) return fail(roster.error());
  auto schema = load_schema(options.common.schema, tell_problem);
  if (!schema) return fail(schema.error());
  if (options.live.live) return decode_live(options, units.value(), *schema, std::move(*roster));
  if (options.explain) return explain(options, units.value(), *schema, *roster);
  return decode(options, units.value(), *schema, std::move(*roster));
}

}  // namespace

void add_decode_command(CLI::App& app, int& code) {
  auto options = std::make_shared<DecodeOptions>();
  CLI::App* command =
      app.add_subcommand("decode", "Every message in words and units, in the order of the bus");
  add_captures(*command, options->common, false);
  add_live(*command, options->live);
  add_schema(*command, options->common);
  add_roster(*command, options->common, false);
  add_time_span(*command, options->common);
  add_filter(*command, options->filter);
  command->add_option("--format", options->common.format, "One of: json (a line for each message), text")
      ->capture_default_str();
  add_units(*command, options->common);
  command->add_flag("--unicode", options->common.unicode,
                    "Text: keep characters outside ASCII as they were reported");
  command->add_flag("--data", options->data, "Show the bytes of known messages, too");
  command->add_flag("--transport", options->filter.transport_frames,
                    "Show the single frames of transfers, too");
  command->add_option("--explain", options->explain, "Take this frame apart bit by bit, and nothing else")
      ->type_name("FRAME")
      ->check(CLI::PositiveNumber);
  add_output(*command, options->common);
  command->footer(
      "Examples:\n"
      "  tramlog decode monday.pcapng --from 06:12:40 --to 06:12:45\n"
      "  tramlog decode --roster drill.toml --controller \"metering front\" --changes monday.pcapng\n"
      "  tramlog decode --format json --signal WheelBasedSpeed monday.pcapng -o speed.jsonl\n\n"
      "Exit code: 0 done, 2 wrong usage, 3 a capture is damaged or unreadable,\n"
      "4 the environment failed.");
  command->callback([options, &code] { code = run(*options); });
}

}  // namespace tramlog
