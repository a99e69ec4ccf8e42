#include "cases/all_cases.hpp"

#include <algorithm>
#include <filesystem>

#include "cases/program.hpp"

namespace tramlog::cases {
namespace fs = std::filesystem;

std::vector<Case> all_cases() {
  std::vector<Case> cases;
  for (const auto& entry : fs::directory_iterator(TRAMLOG_SOURCE_DIR "/captures")) {
    if (!fs::exists(entry.path() / "case.toml")) continue;
    Case one;
    one.name = entry.path().filename();
    one.folder = entry.path();
    one.capture = fs::exists(entry.path() / "capture.pcapng") ? entry.path() / "capture.pcapng"
                                                              : entry.path() / "capture.pcapng.zst";
    if (fs::exists(entry.path() / "roster.toml")) one.roster = entry.path() / "roster.toml";
    cases.push_back(one);
  }
  std::sort(cases.begin(), cases.end(), [](const Case& a, const Case& b) { return a.name < b.name; });
  return cases;
}

std::string report_command(const Case& one, const std::string& format) {
  return "TRAMLOG report --format " + format + (one.roster.empty() ? "" : " --roster " + quoted(one.roster)) +
         " ";
}

}  // namespace tramlog::cases
