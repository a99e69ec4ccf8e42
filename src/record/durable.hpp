// Files and names that are on the disk when the call returns.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "base/bytes.hpp"
#include "base/result.hpp"

namespace tramlog {

/// Owns a descriptor.
class OwnedFile {
 public:
  explicit OwnedFile(int descriptor = -1) : descriptor_(descriptor) {}
  ~OwnedFile() { close(); }
  OwnedFile(const OwnedFile&) = delete;
  OwnedFile& operator=(const OwnedFile&) = delete;
  int get() const { return descriptor_; }
  bool is_open() const { return descriptor_ >= 0; }
  void close();

 private:
  int descriptor_;
};

/// The part before the last slash ("." without one), and behind it.
std::string folder_of(const std::string& path);
std::string leaf_of(const std::string& path);

/// `code` is an errno: what failed, where, and what to do about it.
Error disk_error(const std::string& what, int code, const std::string& where);

/// 0 or the errno. A name in a folder is only safe once the folder is.
int sync_folder(const std::string& folder);
/// 0 or the errno; goes on after interruptions.
int write_all(int descriptor, Bytes bytes);
/// Up to `size` bytes from the present place, fewer only at the end; -1 and errno.
std::int64_t read_up_to(int descriptor, std::uint8_t* into, std::size_t size);

/// Replaces a file by way of "<path>.part", mode 0640; file and name are on the disk. The old one stays if it
/// fails.
Result<bool> replace_file(const std::string& path, std::string_view text);

/// Removes a file; one that is not there is no error. 0 or the errno.
int remove_file(const std::string& path);

}  // namespace tramlog
