#include "io/capture_folder.hpp"

#include <algorithm>
#include <filesystem>
#include <set>

namespace tramlog {
namespace fs = std::filesystem;

bool is_folder(const std::string& path) {
  std::error_code ignored;
  return fs::is_directory(path, ignored);
}

Result<std::vector<std::string>> captures_in_folder(const std::string& folder) {
  std::error_code error;
  if (!fs::is_directory(folder, error))
    return Error{ErrorKind::input, "this is no folder", folder, "name a folder with captures in it"};
  std::set<std::string> names;
  for (fs::directory_iterator entry(folder, error), end; !error && entry != end; entry.increment(error)) {
    std::error_code ignored;
    if (!entry->is_regular_file(ignored)) continue;
    const std::string name = entry->path().filename().string();
    std::string plain = name;
    if (plain.ends_with(".zst")) plain.resize(plain.size() - 4);
    if (!name.starts_with('.') && (plain.ends_with(".pcapng") || plain.ends_with(".pcap")))
      names.insert(name);
  }
  if (error)
    return Error{ErrorKind::environment, "cannot read the folder (" + error.message() + ")", folder,
                 "check its permissions"};
  std::vector<std::string> paths;
  for (const std::string& name : names)
    if (!name.ends_with(".zst") || names.count(name.substr(0, name.size() - 4)) == 0)
      paths.push_back((fs::path(folder) / name).string());
  if (paths.empty())
    return Error{ErrorKind::input, "there is no capture in this folder", folder,
                 "name a folder with files ending in .pcapng, .pcap, .pcapng.zst or .pcap.zst"};
  return paths;
}

}  // namespace tramlog
