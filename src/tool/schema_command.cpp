// tramlog schema: what is known of messages, signals and process data; and a check of a user's own files.
#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "base/text.hpp"
#include "decode/schema_page.hpp"
#include "tool/command.hpp"

namespace tramlog {
namespace {

struct SchemaOptions : CommonOptions {
  std::vector<std::string> terms;
  std::vector<std::string> check;
};

using Json = nlohmann::ordered_json;

Json problem_json(const SchemaProblem& problem) {
  const bool error = problem.severity == SchemaProblem::Severity::error;
  return {{"severity", error ? "error" : "warning"},
          {"file", printable_utf8(problem.file)},
          {"line", problem.line},
          {"column", problem.column},
          {"subject", printable_utf8(problem.subject)},
          {"text", printable_utf8(problem.text)},
          {"remedy", printable_utf8(problem.remedy)}};
}

struct Checked {
  const SchemaLayer* layer = nullptr;
  ProblemCount count;
};

std::string counted(std::uint64_t count, std::string_view one, std::string_view many) {
  return fmt::format("{} {}", count, count == 1 ? one : many);
}

// A table has entries, even if none could be read.
std::string held_by(const SchemaLayer& layer) {
  std::string name = layer.name;
  for (char& c : name)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  if (layer.entries > 0 || name.ends_with(".csv")) return counted(layer.entries, "entry", "entries");
  return counted(layer.messages, "message", "messages") + " and " +
         counted(layer.signals, "signal", "signals");
}

std::string check_text(const std::vector<Checked>& files) {
  std::string out;
  for (const auto& [layer, count] : files) {
    for (const SchemaProblem& problem : layer->problems) out += printable_utf8(describe(problem)) + "\n";
    if (layer->problems_left_out > 0)
      out += printable_utf8(fmt::format("{}: {} not listed", layer->name,
                                        counted(layer->problems_left_out, "more is", "more are"))) +
             "\n";
    out += printable_utf8(fmt::format("{}: {} can be used; {}, {}", layer->name, held_by(*layer),
                                      counted(count.errors, "error", "errors"),
                                      counted(count.warnings, "warning", "warnings")));
    out += '\n';
  }
  return out;
}

std::string check_json(const std::vector<Checked>& checked) {
  Json files = Json::array();
  for (const auto& [layer, count] : checked) {
    Json problems = Json::array();
    for (const SchemaProblem& problem : layer->problems) problems.push_back(problem_json(problem));
    files.push_back({{"file", printable_utf8(layer->name)},
                     {"messages", layer->messages},
                     {"signals", layer->signals},
                     {"entries", layer->entries},
                     {"errors", count.errors},
                     {"warnings", count.warnings},
                     {"problems", std::move(problems)},
                     {"problems_not_listed", layer->problems_left_out}});
  }
  return Json{{"schema", "tramlog.schema-check/1"}, {"files", std::move(files)}}.dump(2) + "\n";
}

int check(SchemaOptions options, bool json) {
  // Files under --schema lie below the checked ones, so that conflicts with them are told too.
  const std::size_t below = options.schema.size();
  options.schema.insert(options.schema.end(), options.check.begin(), options.check.end());
  const std::size_t ours = Schema::built_in().layers().size();
  std::vector<ProblemCount> counts;
  const auto schema = load_schema(options.schema, {}, &counts);
  if (!schema) return fail(schema.error());
  std::vector<Checked> files;
  bool clean = true;
  const auto& all = schema.value().layers();
  for (std::size_t i = ours + below; i < all.size(); ++i) {
    files.push_back({&all[i], counts[i - ours]});
    clean = clean && all[i].problems.empty();
  }
  return deliver(options, json ? check_json(files) : check_text(files), clean ? kFine : kSomethingWrong);
}

int run(const SchemaOptions& options) {
  const bool json = options.format == "json";
  if (!json && options.format != "text")
    return fail({ErrorKind::usage, "unknown format \"" + options.format + "\"", "--format",
                 "choose one of: text, json"});
  if (!options.check.empty()) {
    if (!options.terms.empty())
      return fail({ErrorKind::usage, "a search and a check at once", options.terms.front(),
                   "run them one after the other"});
    return check(options, json);
  }
  auto schema = load_schema(options.schema, tell_problem);
  if (!schema) return fail(schema.error());
  if (options.terms.empty())
    return deliver(options, json ? schema_overview_json(*schema) : schema_overview_text(*schema), kFine);
  auto hits = search_schema(*schema, options.terms);
  if (!hits) return fail(hits.error());
  return deliver(options,
                 json ? schema_hits_json(*schema, *hits) : schema_hits_text(*schema, *hits, options.unicode),
                 kFine);
}

}  // namespace

void add_schema_command(CLI::App& app, int& code) {
  auto options = std::make_shared<SchemaOptions>();
  CLI::App* command = app.add_subcommand(
      "schema", "What is known of messages, signals and process data; a check of your own DBC file");
  command->add_option(
      "TERM", options->terms,
      "Words (all must occur), a PGN, SPN or DDI, or pgn:N, spn:N, ddi:N, fmi:N; none: the files");
  add_schema(*command, *options);
  command
      ->add_option(
          "--check", options->check,
          "Check this file (.dbc, .csv) or folder and tell everything that is wrong in it; again and again")
      ->allow_extra_args(false);
  command->add_option("--format", options->format, "One of: text, json")->capture_default_str();
  command->add_flag("--unicode", options->unicode, "Text: keep characters outside ASCII");
  add_output(*command, *options);
  command->footer(
      "Examples:\n  tramlog schema hitch position\n  tramlog schema 65096\n  tramlog schema --schema "
      "drill.dbc meter\n"
      "  tramlog schema --check drill.dbc\n\n"
      "Exit code: 0 done, 1 the checked file has problems, 2 wrong usage, 3 a file cannot be read or used,\n"
      "4 the environment failed.");
  command->callback([options, &code] { code = run(*options); });
}

}  // namespace tramlog
