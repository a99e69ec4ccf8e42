#include "tool/command.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cstdio>
#include <filesystem>

#include "base/text.hpp"
#include "can/stand_ins.hpp"
#include "exam/examiner.hpp"
#include "exam/words.hpp"
#include "io/text_file.hpp"
#include "report/format.hpp"
#include "tool/progress.hpp"

namespace tramlog {
void add_captures(CLI::App& command, CommonOptions& options, bool required) {
  auto* captures = command.add_option(
      "CAPTURE", options.captures,
      "Captures (pcapng or pcap of link type 227, plain or .zst) in any order; - for standard input");
  if (required) captures->required();
}

void add_roster(CLI::App& command, CommonOptions& options, bool required) {
  auto* option = command.add_option("--roster", options.roster, "What should be on this machine (TOML)");
  if (required) option->required();
}

void add_format(CLI::App& command, CommonOptions& options) {
  command.add_option("--format", options.format, "One of: " + format_names())->capture_default_str();
  command.add_flag("--unicode", options.unicode, "Text: keep characters outside ASCII as they were reported");
}

void add_place(CLI::App& command, CommonOptions& options) {
  command.add_flag("--place", options.place, "Tell the place where the machine was first (its position is left out otherwise)");
}

void add_output(CLI::App& command, CommonOptions& options) {
  command.add_option("-o,--output", options.output, "Write to this file instead of standard output");
}

int fail(const Error& error) {
  fmt::print(stderr, "tramlog: {} : {} : {}\n", printable_utf8(error.what), printable_utf8(error.where),
             printable_utf8(error.remedy));
  switch (error.kind) {
    case ErrorKind::usage:
      return kUsage;
    case ErrorKind::input:
      return kDamagedInput;
    case ErrorKind::environment:
      break;
  }
  return kEnvironment;
}

void tell_problem(const Error& error) {
  fail(error);
}

std::optional<Error> check_copies(const CaptureSource& source) {
  for (const CaptureFile& file : source.files())
    for (const CaptureFile& other : source.files())
      if (&other != &file && file.packets > 0 && other.fingerprint == file.fingerprint)
        return Error{ErrorKind::usage, "the same recording is named twice", file.name + ", " + other.name,
                     "name each recording once"};
  return std::nullopt;
}

int tell_losses(const CaptureSource& source, const DecodeLosses& losses, const char* done) {
  int code = kFine;
  for (const CaptureFile& file : source.files()) {
    if (file.damaged_bytes == 0 && !file.read_error) continue;
    if (!file.unreadable.empty()) {
      code = fail({ErrorKind::input, file.unreadable, file.name,
                   fmt::format("the other captures are {}; leave this one out", done)});
      continue;
    }
    code =
        fail({ErrorKind::input,
              file.read_error ? "the capture could not be read to its end"
                              : fmt::format("{} bytes of the capture could not be read", file.damaged_bytes),
              file.name, fmt::format("the rest is {}; tramlog report tells where it is damaged", done)});
  }
  const auto note = [](std::uint64_t count, const char* one, const char* many, const char* remedy) {
    if (count > 0) fmt::print(stderr, "tramlog: {} : captures : {}\n", counted(count, one, many), remedy);
  };
  if (losses.short_frames > 0) code = kDamagedInput;
  note(losses.short_frames, "frame is only partly in the capture", "frames are only partly in the capture",
       "record whole payloads");
  note(losses.foreign, "packet is no CAN frame that can be read",
       "packets are no CAN frames that can be read", "nothing is to be done; tramlog report counts them");
  note(losses.long_messages, "message was too long to be put together",
       "messages were too long to be put together", "tramlog decode --transport shows the single frames");
  note(losses.given_up_sessions, "transfer was given up, because too many ran at once",
       "transfers were given up, because too many ran at once",
       "tramlog decode --transport shows the single frames");
  return code;
}

Result<Report> examine(const CommonOptions& options, const std::optional<Roster>& roster,
                       const Schema& schema, const Intervention& intervention) {
  auto source = CaptureSource::open(options.captures);
  if (!source) return source.error();
  auto weights = load_cause_weights(options.causes);
  if (!weights) return weights.error();
  auto implements = load_implement_options(options, schema, tell_problem);
  if (!implements) return implements.error();
  if (intervention.implements) intervention.implements(*implements);
  Examiner examiner(schema, std::move(*implements));
  Progress progress;
  for (;;) {
    const std::span<const Event> events = source->read();
    if (events.empty()) break;
    examiner.take(intervention.events ? intervention.events(events) : events);
    progress.add(events.size());
  }
  Report report;
  if (auto error = check_copies(*source)) return *error;
  for (const CaptureFile& file : source->files()) {
    if (file.unreadable.empty()) {
      report.files.push_back(file.fingerprint);
      const bool is_pipe = file.name == "-" || !std::filesystem::is_regular_file(file.name);
      report.names.push_back(is_pipe ? std::string() : std::filesystem::path(file.name).filename().string());
    } else
      fail({ErrorKind::input, file.unreadable, file.name,
            "the other captures are examined; leave this one out"});
    report.read_error = report.read_error || file.read_error;
  }
  report.found = examiner.conclude(roster, *weights);
  const auto& notes = report.found.recorder.notes;
  report.stand_ins = std::any_of(notes.begin(), notes.end(), [](const RecordedNote& noted) {
    return tells_stand_ins(noted.note);
  });
  return report;
}

Result<Report> examine(const CommonOptions& options) {
  const auto roster = load_roster_if_named(options.roster);
  if (!roster) return roster.error();
  const auto schema = load_schema(options.schema, tell_problem);
  if (!schema) return schema.error();
  return examine(options, roster.value(), schema.value());
}

int exit_code_of(const Report& report) {
  if (report.read_error || !report.found.damage.empty() || report.found.short_frames > 0)
    return kDamagedInput;
  return something_wrong(report.found) ? kSomethingWrong : kFine;
}

std::optional<Error> check_paths(const CommonOptions& options) {
  std::vector<std::string> inputs = options.captures;
  inputs.push_back(options.roster);
  inputs.push_back(options.limits);
  inputs.push_back(options.causes);
  inputs.insert(inputs.end(), options.schema.begin(), options.schema.end());
  inputs.insert(inputs.end(), options.descriptions.begin(), options.descriptions.end());
  for (const std::string& input : inputs) {
    std::error_code ignored;
    if (!options.output.empty() && !input.empty() &&
        std::filesystem::equivalent(options.output, input, ignored))
      return Error{ErrorKind::usage, "the result would overwrite its own input", options.output,
                   "write it to another file"};
  }
  for (std::size_t i = 0; i < options.captures.size(); ++i)
    for (std::size_t k = 0; k < i; ++k) {
      std::error_code ignored;
      if (std::filesystem::equivalent(options.captures[i], options.captures[k], ignored))
        return Error{ErrorKind::usage, "the same recording is named twice",
                     options.captures[k] + ", " + options.captures[i], "name each recording once"};
    }
  return std::nullopt;
}

int deliver(const CommonOptions& options, std::string_view text, int code) {
  if (const auto error = check_paths(options)) return fail(*error);
  const auto written = write_text(options.output, text);
  return written ? code : fail(written.error());
}

}  // namespace tramlog
