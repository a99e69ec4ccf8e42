#include "tool/compare_side.hpp"

#include <filesystem>
#include <fstream>

#include "io/text_file.hpp"
#include "parcel/contents.hpp"
#include "parcel/unpack.hpp"
#include "report/format.hpp"
#include "tool/day_choice.hpp"
#include "tool/days_report.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kMaxReportBytes = 256 * 1024 * 1024;

// JSON begins with a brace; captures, packed or not, never do. A pipe can be read only once.
bool looks_like_json(const std::string& path) {
  std::error_code ignored;
  if (!std::filesystem::is_regular_file(path, ignored)) return false;
  std::ifstream file(path, std::ios::binary);
  char c = 0;
  while (file.get(c))
    if (c != ' ' && c != '\n' && c != '\r' && c != '\t') return c == '{';
  return false;
}

std::string called(const NamedSide& named) {
  const std::vector<std::string>& paths = named.paths;
  std::string name = paths.front();
  while (name.size() > 1 && name.ends_with('/')) name.pop_back();
  if (const auto slash = name.rfind('/'); slash != std::string::npos && slash + 1 < name.size())
    name = name.substr(slash + 1);
  if (paths.size() > 1) name += " and " + std::to_string(paths.size() - 1) + " more";
  return named.day.empty() ? name : name + ", " + named.day;
}

Result<LoadedSide> parcel_side(const NamedSide& named) {
  const std::string& path = named.paths.front();
  auto parcel = load_parcel(path);
  if (!parcel) return parcel.error();
  const Member* report = parcel->find(kJsonMember);
  if (report == nullptr)
    return Error{ErrorKind::input, "the parcel holds no report.json: it was left out for its size", path,
                 "compare the recordings, or make the parcel with a larger --limit"};
  auto side = compare_side(report->bytes, called(named));
  if (!side) return side.error();
  side->is_private = is_private_parcel(*parcel);
  return LoadedSide{std::move(*side), false};
}

}  // namespace

Result<LoadedSide> load_side(const NamedSide& named, const CommonOptions& options,
                             const std::optional<Roster>& roster, const Schema& schema) {
  const std::vector<std::string>& paths = named.paths;
  const bool is_json = paths.size() == 1 && looks_like_json(paths.front());
  const bool is_parcel = !is_json && paths.size() == 1 && is_parcel_file(paths.front());
  if ((is_json || is_parcel) && !named.day.empty())
    return Error{ErrorKind::usage, "a report is of one recording, and no day can be chosen of it",
                 named.day_option, "leave it out, or name captures"};
  if (is_json) {
    const auto text = read_text_file(paths.front(), kMaxReportBytes);
    if (!text) return text.error();
    auto side = compare_side(text.value(), called(named));
    if (!side) return side.error();
    return LoadedSide{std::move(*side), false};
  }
  if (is_parcel) return parcel_side(named);
  std::vector<std::string> captures = paths;
  for (const std::string& path : captures)
    if (looks_like_json(path))
      return Error{ErrorKind::usage, "a side is one report, or captures, not both", path,
                   "name each side's captures, or its one report"};
  if (auto error = unfold_folders(captures)) return *error;
  CommonOptions own = options;
  own.captures = captures;
  if (const auto error = check_paths(own)) return *error;
  bool damaged = false;
  if (auto error =
          choose_day(own.captures,
                     {named.day, named.day_option, paths.front(), named.words + " has recordings"}, damaged))
    return *error;
  const auto report = examine(own, roster, schema);
  if (!report) return report.error();
  auto side = compare_side(find_format("json")->report(report.value(), {}), called(named));
  if (!side) return side.error();
  return LoadedSide{std::move(*side), damaged || exit_code_of(report.value()) == kDamagedInput};
}

}  // namespace tramlog
