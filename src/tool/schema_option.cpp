// Options that choose and narrow what is decoded: schema files, time, units, filters.
#include <fmt/format.h>

#include <algorithm>
#include <filesystem>

#include "base/text.hpp"
#include "io/text_file.hpp"
#include "tool/command.hpp"

namespace tramlog {
namespace {

namespace fs = std::filesystem;

constexpr std::size_t kProblemsShown = 10;  // of one file; tramlog schema shows them all

bool has_ending(const std::string& path, std::string_view ending) {
  std::string own = fs::path(path).extension().string();
  for (char& c : own)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return own == ending;
}

/// The files that a path means, by name.
Result<std::vector<std::string>> files_of(const std::string& path) {
  std::error_code error;
  if (!fs::is_directory(path, error)) return std::vector<std::string>{path};
  std::vector<std::string> files;
  for (auto at = fs::directory_iterator(path, error); !error && at != fs::directory_iterator();
       at.increment(error)) {
    const std::string file = at->path().string();
    if (has_ending(file, ".dbc") || has_ending(file, ".csv")) files.push_back(file);
  }
  if (error)
    return Error{ErrorKind::environment, "cannot read the folder (" + error.message() + ")", path,
                 "check its permissions"};
  if (files.empty())
    return Error{ErrorKind::input, "there is no .dbc or .csv file in the folder", path,
                 "name a folder with schema files, or a file"};
  std::sort(files.begin(), files.end());
  return files;
}

std::uint64_t problems_of(const SchemaLayer& layer) {
  return layer.problems.size() + layer.problems_left_out;
}

/// Adds a file, and to its problems what the schema finds beyond them: warnings.
template <class File>
ProblemCount add_counted(Schema& schema, File&& file, std::uint64_t own_problems) {
  ProblemCount count = file.problem_count;
  schema.add(std::forward<File>(file));
  count.warnings += problems_of(schema.layers().back()) - own_problems;
  return count;
}

/// False if nothing in the file could be used.
bool add_file(Schema& schema, const std::string& text, const std::string& path, ProblemCount& count) {
  if (!has_ending(path, ".csv")) {
    DbcFile file = parse_dbc(text, path);
    check_dbc(file);
    const bool any = !file.messages.empty();
    const std::uint64_t own_problems = file.problems.size() + file.problems_left_out;
    count = add_counted(schema, std::move(file), own_problems);
    return any;
  }
  // The two tables differ in their header.
  Dictionary dictionary = parse_dictionary(text, path);
  if (!dictionary.entries.empty()) {
    const std::size_t own_problems = dictionary.problems.size();
    count = add_counted(schema, std::move(dictionary), own_problems);
    return true;
  }
  TroubleTexts texts = parse_trouble_texts(text, path);
  const bool any = !texts.spn.empty() || !texts.fmi.empty();
  if (any || text.find("kind") != std::string::npos)
    count = add_counted(schema, std::move(texts), texts.problems.size());
  else
    count = add_counted(schema, std::move(dictionary), dictionary.problems.size());
  return any;
}

void tell(const SchemaProblem& problem) {
  std::string where = problem.file;
  if (problem.line > 0) where += fmt::format(":{}", problem.line);
  if (problem.line > 0 && problem.column > 0) where += fmt::format(":{}", problem.column);
  const std::string what = problem.subject.empty() ? problem.text : problem.subject + ": " + problem.text;
  fmt::print(stderr, "tramlog: {} : {} : {}\n", printable_utf8(what), printable_utf8(where),
             printable_utf8(problem.remedy));
}

void tell_problems(const SchemaLayer& layer) {
  const std::size_t shown = std::min(layer.problems.size(), kProblemsShown);
  for (std::size_t i = 0; i < shown; ++i) tell(layer.problems[i]);
  const std::uint64_t more = problems_of(layer) - shown;
  if (more > 0)
    fmt::print(stderr, "tramlog: {} more problems : {} : see them all with tramlog schema --check FILE\n",
               more, printable_utf8(layer.name));
}

}  // namespace

void add_schema(CLI::App& command, CommonOptions& options) {
  command
      .add_option(
          "--schema", options.schema,
          "Messages and signals of your own: a .dbc or .csv file, or a folder of them; again and again")
      ->allow_extra_args(false);
}

void add_time_span(CLI::App& command, CommonOptions& options) {
  command.add_option("--from", options.from,
                     "Begin: time of day (06:12:41, UTC), date and time, or seconds from the start (12.5)");
  command.add_option("--to", options.to, "End, in the same ways");
}

void add_units(CLI::App& command, CommonOptions& options) {
  command.add_option("--units", options.units, "Units of the values: metric, imperial or us");
}

void add_filter(CLI::App& command, DecodeFilter& filter) {
  const auto add = [&](const char* name, std::vector<std::string>& values, const char* text) {
    command.add_option(name, values, text)->allow_extra_args(false);
  };
  add("--controller", filter.controllers,
      "Only from this sender: label of the roster, function, NAME in hex, or address; again and again");
  add("--message", filter.messages,
      "Only this message: name, pattern such as 'Wheel*', or PGN; again and again");
  add("--signal", filter.signals,
      "Only this signal: name, Message.Signal, pattern, spn:N or ddi:N; again and again");
  add("--bus", filter.buses, "Only this bus: name or pattern; again and again");
  command.add_flag("--changes", filter.only_changes,
                   "Leave out messages that say the same as the one before");
}

Result<Schema> load_schema(const CommonOptions& options, SchemaTelling telling,
                           std::vector<ProblemCount>* counts) {
  Schema schema = Schema::with_built_in();
  for (const std::string& path : options.schema) {
    auto files = files_of(path);
    if (!files) return files.error();
    for (const std::string& file : *files) {
      const auto text = read_text_file(file, kMaxSchemaBytes);
      if (!text) return text.error();
      const std::size_t before = schema.layers().size();
      ProblemCount count;
      const bool used = add_file(schema, text.value(), file, count);
      if (counts != nullptr) counts->push_back(count);
      if (telling == SchemaTelling::problems)
        for (std::size_t i = before; i < schema.layers().size(); ++i) tell_problems(schema.layers()[i]);
      if (!used && telling == SchemaTelling::problems)
        return Error{ErrorKind::input, "nothing in this schema file could be used", file,
                     "is it a DBC file, or a table with the header ddi,name,unit,resolution or "
                     "kind,number,text?"};
    }
  }
  return schema;
}

std::optional<Error> parse_time_span(const CommonOptions& options, DecodeFilter& filter) {
  const auto parse = [](const std::string& text, const char* option,
                        std::optional<TimeBound>& bound) -> std::optional<Error> {
    if (text.empty()) return std::nullopt;
    const auto parsed = parse_time_bound(text, option);
    if (!parsed) return parsed.error();
    bound = parsed.value();
    return std::nullopt;
  };
  if (auto error = parse(options.from, "--from", filter.from)) return error;
  if (auto error = parse(options.to, "--to", filter.to)) return error;
  if (filter.from && filter.to && filter.from->kind == filter.to->kind &&
      filter.from->kind != TimeBound::Kind::time_of_day && filter.from->ns > filter.to->ns)
    return Error{ErrorKind::usage, "the span ends before it begins",
                 "--from " + options.from + " --to " + options.to, "give the earlier time to --from"};
  return std::nullopt;
}

Result<std::optional<UnitSystem>> parse_units(const CommonOptions& options) {
  if (options.units.empty()) return std::optional<UnitSystem>();
  const auto units = parse_unit_system(options.units);
  if (!units)
    return Error{ErrorKind::usage, "unknown units \"" + options.units + "\"", "--units",
                 "choose one of: metric, imperial, us"};
  return units;
}

}  // namespace tramlog
