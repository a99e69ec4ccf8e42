#include <filesystem>

#include "io/text_file.hpp"
#include "outfit/user_files.hpp"

namespace tramlog {

Result<Roster> load_roster(const std::string& path) {
  auto text = read_text_file(path, kMaxRosterBytes);
  if (!text) return text.error();
  auto roster = parse_roster(*text, path);
  // The report is the same wherever the roster lies.
  if (roster) roster->file = std::filesystem::path(path).filename().string();
  return roster;
}

Result<std::optional<Roster>> load_roster_if_named(const std::string& path) {
  if (path.empty()) return std::optional<Roster>();
  auto roster = load_roster(path);
  if (!roster) return roster.error();
  return std::optional<Roster>(std::move(*roster));
}

}  // namespace tramlog
