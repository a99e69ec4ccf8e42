// A folder for files that nobody keeps; gone with the object.
#pragma once

#include <string>
#include <utility>

#include "base/result.hpp"

namespace tramlog {

class ScratchFolder {
 public:
  /// In the system's folder for such files (TMPDIR), readable by this user only.
  static Result<ScratchFolder> create();
  ScratchFolder(ScratchFolder&& other) noexcept : path_(std::exchange(other.path_, {})) {}
  ScratchFolder& operator=(ScratchFolder&&) = delete;
  ~ScratchFolder();
  const std::string& path() const { return path_; }

 private:
  explicit ScratchFolder(std::string path) : path_(std::move(path)) {}
  std::string path_;
};

}  // namespace tramlog
