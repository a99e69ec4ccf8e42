#include "parcel/unpack.hpp"

#include <filesystem>
#include <fstream>

#include "io/text_file.hpp"

namespace tramlog {
namespace fs = std::filesystem;

bool is_parcel_file(const std::string& path) {
  std::error_code ignored;
  if (!fs::is_regular_file(path, ignored)) return false;
  std::ifstream file(path, std::ios::binary);
  std::string head(4096, '\0');
  file.read(head.data(), static_cast<std::streamsize>(head.size()));
  head.resize(static_cast<std::size_t>(file.gcount()));
  return recognise_parcel(head).has_value();
}

Result<Parcel> load_parcel(const std::string& path) {
  auto bytes = read_text_file(path, kMaxParcelBytes);
  if (!bytes) return bytes.error();
  return read_parcel(*bytes, path);
}

Result<std::vector<std::string>> unpack_parcel(const Parcel& parcel, const std::string& folder) {
  std::error_code error;
  fs::create_directories(folder, error);
  if (error || !fs::is_directory(folder))
    return Error{ErrorKind::environment,
                 "the folder cannot be made" + (error ? " (" + error.message() + ")" : std::string()), folder,
                 "name another folder"};
  std::vector<std::string> paths;
  for (const Member& member : parcel.members) {
    paths.push_back((fs::path(folder) / member.name).string());
    if (fs::exists(fs::symlink_status(paths.back(), error)))
      return Error{ErrorKind::usage, "there is a file of this name already, so nothing is unpacked",
                   paths.back(), "name an empty folder"};
  }
  for (std::size_t i = 0; i < paths.size(); ++i)
    if (const auto written = write_text(paths[i], parcel.members[i].bytes); !written) return written.error();
  return paths;
}

}  // namespace tramlog
