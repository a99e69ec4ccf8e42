// A library folder of device descriptor object pools: one file each, so that a recording without an upload can still be read by element names.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "base/bytes.hpp"
#include "base/result.hpp"

namespace tramlog {

inline constexpr std::size_t kMaxPoolFileBytes = 1024 * 1024;
inline constexpr std::size_t kMaxPoolFiles = 1000;
inline constexpr const char* kPoolFileEnding = ".pool";

struct PoolFile {
  std::string path;  // with the folder
  std::vector<std::uint8_t> bytes;
};

/// One file. Errors: as read_text_file.
Result<PoolFile> read_pool_file(const std::string& path);

/// All files of the folder with the ending above, by the time they were written, then by name: the newest comes last. A folder that is not there is empty; files
/// that cannot be read are told in `problems`. Errors: it is not a folder, or cannot be listed.
Result<std::vector<PoolFile>> read_pool_folder(const std::string& folder, std::vector<Error>& problems);

/// Writes <stem>.pool into the folder, which is made if it is not there. True if the file is new or was changed.
Result<bool> write_pool_file(const std::string& folder, const std::string& stem, Bytes bytes);

}  // namespace tramlog
