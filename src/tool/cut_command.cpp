// tramlog cut: a slice of captures as a smaller capture.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "base/text.hpp"
#include "base/time_bound.hpp"
#include "exam/words.hpp"
#include "io/capture_writer.hpp"
#include "slice/around.hpp"
#include "slice/slicer.hpp"
#include "tool/command.hpp"
#include "tool/days_report.hpp"
#include "tool/implement_option.hpp"
#include "tool/progress.hpp"

namespace tramlog {
namespace {

struct CutCommand {
  CommonOptions common;
  std::vector<std::string> around, controllers;
  double margin_s = 25;  // a rhythm is trusted after 10 to 20 s
};

Error usage(std::string what, std::string where, std::string remedy) {
  return {ErrorKind::usage, std::move(what), std::move(where), std::move(remedy)};
}

/// NAMEs and addresses that need nobody to look them up; what remains are words.
SliceChoice plain_choice(const std::vector<std::string>& texts, std::vector<std::string>& words) {
  SliceChoice choice;
  for (const std::string& text : texts) {
    const bool prefixed = text.size() == 18 && (text.rfind("0x", 0) == 0 || text.rfind("0X", 0) == 0);
    if (const auto name = Name::from_hex(prefixed ? text.substr(2) : text)) {
      choice.names.push_back(*name);
    } else if (const auto number = parse_number(text); number && *number < kNullAddress) {
      choice.places.push_back({std::nullopt, static_cast<Address>(*number)});
    } else {
      words.push_back(text);
    }
  }
  return choice;
}

/// Labels of the roster and terms of functions, as the report knows them.
std::optional<Error> add_words(const std::vector<std::string>& words, const Conclusions& all,
                               SliceChoice& choice) {
  for (const std::string& word : words) {
    const std::string pattern = ascii_lower(word);
    bool any = false;
    std::string known;
    for (std::size_t i = 0; i < all.controllers.size(); ++i) {
      const ControllerRecord& one = all.controllers[i];
      const std::string called = one.label.empty() ? function_term(one.name) : one.label;
      known += (known.empty() ? "" : ", ") + printable_utf8(called);
      const auto fits = [&](const std::string& text) {
        return ascii_lower(text) == pattern || matches_glob(pattern, ascii_lower(text));
      };
      if (!fits(called) && !fits(function_term(one.name))) continue;
      any = true;
      if (std::find(choice.names.begin(), choice.names.end(), one.name) == choice.names.end())
        choice.names.push_back(one.name);
    }
    if (!any)
      return usage("nobody is called \"" + printable_utf8(word) + "\"", "--controller",
                   known.empty() ? "no controller claimed an address here; give an address"
                                 : "give a NAME in hex, an address, or one of: " + known);
  }
  return std::nullopt;
}

struct Bounds {
  std::optional<TimeBound> from, to;
};

Result<Bounds> bounds_of(const CommonOptions& options) {
  Bounds bounds;
  const auto parse = [](const std::string& text, const char* option,
                        std::optional<TimeBound>& into) -> std::optional<Error> {
    if (text.empty()) return std::nullopt;
    const auto parsed = parse_time_bound(text, option);
    if (!parsed) return parsed.error();
    into = parsed.value();
    return std::nullopt;
  };
  if (auto error = parse(options.from, "--from", bounds.from)) return *error;
  if (auto error = parse(options.to, "--to", bounds.to)) return *error;
  return bounds;
}

/// What lies in both.
std::vector<SliceSpan> within(const std::vector<SliceSpan>& spans, SliceSpan limit) {
  std::vector<SliceSpan> out;
  for (const SliceSpan& span : spans)
    out.push_back({std::max(span.from, limit.from), std::min(span.to, limit.to)});
  return joined_spans(std::move(out));
}

std::string summary(const SlicePlan& plan, const SliceTally& tally, const std::string& file, bool json) {
  if (json) {
    nlohmann::ordered_json spans = nlohmann::ordered_json::array();
    for (std::size_t i = 0; i < plan.spans.size(); ++i)
      spans.push_back({{"start", format_rfc3339(plan.spans[i].from)},
                       {"end", format_rfc3339(plan.spans[i].to)},
                       {"frames", tally.by_span[i]}});
    const nlohmann::ordered_json object{
        {"schema", "tramlog.cut/1"},         {"file", file},
        {"spans", std::move(spans)},         {"frames_kept", tally.kept},
        {"frames_left_out", tally.left_out}, {"foreign_left_out", tally.foreign}};
    return object.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n";
  }
  std::string text;
  for (std::size_t i = 0; i < plan.spans.size(); ++i)
    text += fmt::format("{} to {} UTC ({}): {}\n", format_date_time(plan.spans[i].from),
                        format_date_time(plan.spans[i].to),
                        format_span(span_between(plan.spans[i].from, plan.spans[i].to)),
                        counted(tally.by_span[i], "frame", "frames"));
  text += fmt::format("{} of {} kept in {}\n", tally.kept,
                      counted(tally.kept + tally.left_out, "frame", "frames"), printable_utf8(file));
  if (tally.foreign > 0)
    text += fmt::format("{} that {} no CAN frame {} left out\n", counted(tally.foreign, "packet", "packets"),
                        tally.foreign == 1 ? "is" : "are", tally.foreign == 1 ? "was" : "were");
  return text;
}

int run(const CutCommand& command) {
  CommonOptions options = command.common;
  const bool json = options.format == "json";
  if (!json && options.format != "text")
    return fail(usage("unknown format \"" + printable_utf8(options.format) + "\"", "--format",
                      "choose one of: json, text"));
  if (options.output.empty())
    return fail(usage("nobody said where the slice goes", "-o", "give -o slice.pcapng, or .pcapng.zst"));
  if (options.from.empty() && options.to.empty() && command.around.empty() && command.controllers.empty())
    return fail(
        usage("nobody said what to keep", "command line", "give --from, --to, --around or --controller"));
  if (!(command.margin_s >= 0) || command.margin_s > 86400)
    return fail(usage("the margin is no time of a day", "--margin", "give seconds, 0 to 86400"));
  if (auto error = unfold_folders(options.captures)) return fail(*error);
  if (auto error = check_paths(options)) return fail(*error);
  auto bounds = bounds_of(options);
  if (!bounds) return fail(bounds.error());

  SlicePlan plan;
  std::vector<std::string> words;
  plan.choice = plain_choice(command.controllers, words);
  std::optional<std::vector<SliceSpan>> around;
  int code = kFine;
  if (!command.around.empty() || !words.empty()) {
    if (std::find(options.captures.begin(), options.captures.end(), "-") != options.captures.end())
      return fail(usage("standard input can be read only once, and this needs the report first", "-",
                        "save it to a file"));
    auto report = examine(options);
    if (!report) return fail(report.error());
    if (auto error = add_words(words, report->found, plan.choice)) return fail(*error);
    const auto margin = static_cast<SpanNs>(std::llround(command.margin_s * 1e9));
    for (const std::string& what : command.around) {
      auto found = spans_around(report->found, what, margin);
      if (!found) return fail(found.error());
      if (!around) around.emplace();
      around->insert(around->end(), found->spans.begin(), found->spans.end());
      plan.why += (plan.why.empty() ? "" : ", ") + found->why;
    }
  }

  if (!command.controllers.empty()) {
    plan.why += (plan.why.empty() ? "" : ", ") + std::string("only what concerns");
    for (std::size_t i = 0; i < command.controllers.size() && i < 3; ++i)
      plan.why += (i > 0 ? ", " : " ") + printable_utf8(command.controllers[i]);
    if (command.controllers.size() > 3) plan.why += " and others";
    plan.why += ": no causes are proposed";
  }
  auto source = CaptureSource::open(options.captures);
  if (!source) return fail(source.error());
  std::span<const Event> events = source->read();
  TimeNs start = 0;
  for (const Event& event : events)
    if (event.kind != EventKind::notice || event.is_timed()) {
      start = event.time;
      break;
    }
  const SliceSpan limit{bounds->from ? bounds->from->resolve(start) : INT64_MIN,
                        bounds->to ? bounds->to->resolve(start) : INT64_MAX};
  if (limit.to < limit.from)
    return fail(usage("the end lies before the begin", "--to", "exchange --from and --to"));
  plan.spans = around ? within(*around, limit) : std::vector<SliceSpan>{limit};
  if (plan.spans.empty())
    return fail(usage("nothing lies both " + plan.why + " and between --from and --to", "--around",
                      "leave one of them out"));

  auto writer = CaptureWriter::create_beside(options.output);
  if (!writer) return fail(writer.error());
  Slicer slicer(plan, *writer);
  Progress progress;
  for (; !events.empty(); events = source->read()) {
    slicer.take(events);
    progress.add(events.size());
  }
  const SliceTally tally = slicer.finish();
  code = tell_losses(*source, {}, "kept");
  if (tally.kept == 0) {
    const std::string there = tally.first
                                  ? fmt::format("the captures go from {} to {} UTC",
                                                format_date_time(*tally.first), format_date_time(*tally.last))
                                  : "the captures hold no frame";
    return fail(usage("no frame was kept", printable_utf8(options.output),
                      there + "; choose another time or controller"));
  }
  const auto written = writer->finish();
  if (!written) return fail(written.error());
  CommonOptions to_output;  // the summary goes to standard output, the slice is in the file
  for (SliceSpan& span : plan.spans) {
    span.from = std::max(span.from, *tally.first);
    span.to = std::min(span.to, *tally.last);
  }
  return deliver(to_output, summary(plan, tally, options.output, json), code);
}

}  // namespace

void add_cut_command(CLI::App& app, int& code) {
  auto cut = std::make_shared<CutCommand>();
  CLI::App* command = app.add_subcommand(
      "cut", "A slice of captures by time, around what the report tells, or by controller");
  add_captures(*command, cut->common);
  add_time_span(*command, cut->common);
  command
      ->add_option("--around", cut->around,
                   "Around what the report tells. One of: dropouts, faults, findings, notes; or the second "
                   "of them: dropouts:2. Again and again")
      ->type_name("WHAT")
      ->allow_extra_args(false);
  command->add_option("--margin", cut->margin_s, "Seconds that are kept before and after it")
      ->capture_default_str();
  command->add_option("--controller", cut->controllers,
                      "Only what this controller sends and gets (label of the roster, function's term, NAME "
                      "in hex or address), and what the report "
                      "needs besides. Again and again")
      ->allow_extra_args(false);
  add_roster(*command, cut->common, false);
  add_schema(*command, cut->common);
  add_implement(*command, cut->common);
  command->add_option("--format", cut->common.format, "Of what is said about the slice. One of: json, text")
      ->capture_default_str();
  command->add_option("-o,--output", cut->common.output,
                      "The slice: a pcapng file; compressed if its name ends with .zst");
  command->footer(
      "Examples:\n  tramlog cut --from 09:12:00 --to 09:14:30 -o morning.pcapng monday-*.pcapng.zst\n"
      "  tramlog cut --around dropouts --margin 30 --roster drill.toml -o dropouts.pcapng.zst "
      "monday.pcapng\n\n"
      "A slice knows who was on the bus when it begins. Exit code: 0 done, 2 wrong usage or nothing kept,\n"
      "3 a capture is damaged (what could be read was kept), 4 the environment failed.");
  command->callback([cut, &code] { code = run(*cut); });
}

}  // namespace tramlog
