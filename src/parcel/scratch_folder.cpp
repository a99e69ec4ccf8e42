#include "parcel/scratch_folder.hpp"

#include <cerrno>
#include <cstdlib>
#include <cstring>
#include <filesystem>

namespace tramlog {

Result<ScratchFolder> ScratchFolder::create() {
  std::error_code error;
  const auto parent = std::filesystem::temp_directory_path(error);
  std::string pattern = (error ? std::filesystem::path("/tmp") : parent) / "tramlog-XXXXXX";
  if (::mkdtemp(pattern.data()) == nullptr)
    return Error{ErrorKind::environment,
                 std::string("no folder for temporary files (") + std::strerror(errno) + ")", pattern,
                 "make room, or set TMPDIR to a folder that can be written"};
  return ScratchFolder(std::move(pattern));
}

ScratchFolder::~ScratchFolder() {
  std::error_code ignored;
  if (!path_.empty()) std::filesystem::remove_all(path_, ignored);
}

}  // namespace tramlog
