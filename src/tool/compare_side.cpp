#include "tool/compare_side.hpp"

#include <fstream>

#include "io/capture_folder.hpp"
#include "io/text_file.hpp"
#include "parcel/unpack.hpp"
#include "report/format.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kMaxReportBytes = 256 * 1024 * 1024;

// JSON begins with a brace; captures, packed or not, never do.
bool looks_like_json(const std::string& path) {
  if (path == "-" || is_folder(path)) return false;
  std::ifstream file(path, std::ios::binary);
  char c = 0;
  while (file.get(c))
    if (c != ' ' && c != '\n' && c != '\r' && c != '\t') return c == '{';
  return false;
}

std::string called(const std::vector<std::string>& paths) {
  std::string name = paths.front();
  while (name.size() > 1 && name.ends_with('/')) name.pop_back();
  if (const auto slash = name.rfind('/'); slash != std::string::npos && slash + 1 < name.size())
    name = name.substr(slash + 1);
  return paths.size() > 1 ? name + " and " + std::to_string(paths.size() - 1) + " more" : name;
}

}  // namespace

Result<LoadedSide> load_side(const std::vector<std::string>& paths, const CommonOptions& options,
                             const std::optional<Roster>& roster, const Schema& schema) {
  if (paths.size() == 1 && looks_like_json(paths.front())) {
    const auto text = read_text_file(paths.front(), kMaxReportBytes);
    if (!text) return text.error();
    auto side = compare_side(text.value(), called(paths));
    if (!side) return side.error();
    return LoadedSide{std::move(*side), false};
  }
  if (paths.size() == 1 && !is_folder(paths.front()) && is_parcel_file(paths.front())) {
    auto parcel = load_parcel(paths.front());
    if (!parcel) return parcel.error();
    const Member* report = parcel->find(kJsonMember);
    if (report == nullptr)
      return Error{ErrorKind::input, "the parcel holds no report.json: it was left out for its size", paths.front(),
                   "compare the recordings, or make the parcel with a larger --limit"};
    auto side = compare_side(report->bytes, called(paths));
    if (!side) return side.error();
    return LoadedSide{std::move(*side), false};
  }
  CommonOptions own = options;
  own.captures.clear();
  for (const std::string& path : paths) {
    if (looks_like_json(path))
      return Error{ErrorKind::usage, "a side is one report, or captures, not both", path,
                   "name each side's captures, or its one report"};
    if (!is_folder(path)) {
      own.captures.push_back(path);
      continue;
    }
    auto inside = captures_in_folder(path);
    if (!inside) return inside.error();
    own.captures.insert(own.captures.end(), inside->begin(), inside->end());
  }
  if (const auto error = check_paths(own)) return *error;
  const auto report = examine(own, roster, schema);
  if (!report) return report.error();
  auto side = compare_side(find_format("json")->report(report.value(), {}), called(paths));
  if (!side) return side.error();
  return LoadedSide{std::move(*side), exit_code_of(report.value()) == kDamagedInput};
}

}  // namespace tramlog
