#include "io/pool_folder.hpp"

#include <algorithm>
#include <filesystem>

#include "io/text_file.hpp"

namespace tramlog {
namespace {

namespace fs = std::filesystem;

}  // namespace

Result<PoolFile> read_pool_file(const std::string& path) {
  auto text = read_text_file(path, kMaxPoolFileBytes);
  if (!text) return text.error();
  return PoolFile{path, std::vector<std::uint8_t>(text->begin(), text->end())};
}

Result<std::vector<PoolFile>> read_pool_folder(const std::string& folder, std::vector<Error>& problems) {
  std::error_code error;
  std::vector<PoolFile> files;
  const fs::file_status status = fs::status(folder, error);
  if (status.type() == fs::file_type::not_found) return files;
  if (!fs::is_directory(status))
    return Error{ErrorKind::usage, "the library of device descriptions is no folder", folder, "name a folder, or leave --library out"};
  struct Found {
    fs::file_time_type written;
    std::string path;
  };
  std::vector<Found> found;
  fs::directory_iterator entries(folder, error);
  if (error)
    return Error{ErrorKind::environment, "cannot list the folder: " + error.message(), folder, "check its permission"};
  for (const fs::directory_iterator end; entries != end && !error; entries.increment(error)) {
    if (entries->path().extension() != kPoolFileEnding) continue;
    std::error_code ignored;
    found.push_back({entries->last_write_time(ignored), entries->path().string()});
  }
  std::sort(found.begin(), found.end(), [](const Found& a, const Found& b) {
    return a.written != b.written ? a.written < b.written : a.path < b.path;
  });
  if (found.size() > kMaxPoolFiles) {
    problems.push_back({ErrorKind::input, "more device descriptions than are read; the oldest are left out", folder,
                        "move away what is not needed"});
    found.erase(found.begin(), found.end() - static_cast<std::ptrdiff_t>(kMaxPoolFiles));
  }
  for (const Found& one : found) {
    auto file = read_pool_file(one.path);
    if (file)
      files.push_back(std::move(*file));
    else
      problems.push_back(file.error());
  }
  return files;
}

Result<bool> write_pool_file(const std::string& folder, const std::string& stem, Bytes bytes) {
  std::error_code error;
  fs::create_directories(folder, error);
  if (error)
    return Error{ErrorKind::environment, "cannot make the folder: " + error.message(), folder, "check its permission"};
  const std::string path = (fs::path(folder) / (stem + kPoolFileEnding)).string();
  const std::string text(bytes.begin(), bytes.end());
  const auto before = fs::exists(path, error) ? read_text_file(path, kMaxPoolFileBytes) : Result<std::string>(std::string());
  if (before && before.value() == text) return false;
  const auto written = write_text(path, text);
  if (!written) return written.error();
  return true;
}

}  // namespace tramlog
