#include <fmt/format.h>

#include <algorithm>
#include <filesystem>

#include "io/text_file.hpp"
#include "outfit/user_files.hpp"

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

Error as_error(const SchemaProblem& problem) {
  std::string where = problem.file;
  if (problem.line > 0) where += fmt::format(":{}", problem.line);
  if (problem.line > 0 && problem.column > 0) where += fmt::format(":{}", problem.column);
  return {ErrorKind::input, problem.subject.empty() ? problem.text : problem.subject + ": " + problem.text, where, problem.remedy};
}

void tell_problems(const SchemaLayer& layer, const TellProblem& tell) {
  const std::size_t shown = std::min(layer.problems.size(), kProblemsShown);
  for (std::size_t i = 0; i < shown; ++i) tell(as_error(layer.problems[i]));
  const std::uint64_t more = problems_of(layer) - shown;
  if (more > 0)
    tell({ErrorKind::input, fmt::format("{} more problems", more), layer.name, "see them all with tramlog schema --check FILE"});
}

}  // namespace

Result<Schema> load_schema(const std::vector<std::string>& paths, const TellProblem& tell,
                           std::vector<ProblemCount>* counts) {
  Schema schema = Schema::with_built_in();
  for (const std::string& path : paths) {
    auto files = files_of(path);
    if (!files) return files.error();
    for (const std::string& file : *files) {
      const auto text = read_text_file(file, kMaxSchemaBytes);
      if (!text) return text.error();
      const std::size_t before = schema.layers().size();
      ProblemCount count;
      const bool used = add_file(schema, text.value(), file, count);
      if (counts != nullptr) counts->push_back(count);
      if (tell)
        for (std::size_t i = before; i < schema.layers().size(); ++i) tell_problems(schema.layers()[i], tell);
      if (!used && tell)
        return Error{ErrorKind::input, "nothing in this schema file could be used", file,
                     "is it a DBC file, or a table with the header ddi,name,unit,resolution or "
                     "kind,number,text?"};
    }
  }
  return schema;
}

}  // namespace tramlog
