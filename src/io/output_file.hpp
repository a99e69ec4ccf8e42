// A file on its way out: written beside its place and put there when it is whole.
#pragma once

#include <sys/types.h>

#include <memory>
#include <string>
#include <string_view>

#include "base/result.hpp"

namespace tramlog {

/// Where the bytes of a file go until they are whole.
struct Outlet {
  int fd = -1;       // to be closed by the caller; negative: not opened
  int error = 0;     // then errno
  std::string path;  // the place, links resolved
  std::string part;  // the new file beside it, of a name that nothing had; empty: written directly
};

/// What is there and no ordinary file (a pipe, a device) is opened itself. Otherwise a file of its own is
/// made in the folder of the place, or of what a link there points to, and noted as unfinished
/// (io/unfinished.hpp) until put_in_place() or remove_unfinished(); it gets the permissions of the file
/// that it is to replace, else `mode` less the umask. Nothing that exists is opened, changed or removed.
Outlet open_outlet(const std::string& path, mode_t mode);

class OutputFile {
 public:
  /// Empty or "-": standard output. What is there and no ordinary file (a pipe, a device) is written to
  /// directly. Errors: environment.
  static Result<std::unique_ptr<OutputFile>> create(const std::string& path);
  /// Without finish() the unfinished file is removed.
  ~OutputFile();
  OutputFile(const OutputFile&) = delete;
  OutputFile& operator=(const OutputFile&) = delete;

  /// The first error is kept for finish(); after it nothing more is written.
  void write(std::string_view bytes);
  bool failed() const { return error_ != 0; }
  /// Brings everything to the disk and the file to its place.
  Result<bool> finish();

 private:
  OutputFile(std::string path, std::string part, int fd);

  std::string path_;  // links resolved; empty: standard output
  std::string part_;  // empty: written directly
  int fd_;
  int error_ = 0;  // errno of the first write that failed
};

/// Renames `part` to `path` after its bytes are on the disk; removes it if that fails.
Result<bool> put_in_place(const std::string& part, const std::string& path);

}  // namespace tramlog
