#include "record/durable.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>

#include "record/segment_name.hpp"

namespace tramlog {

void OwnedFile::close() {
  if (descriptor_ >= 0) ::close(descriptor_);
  descriptor_ = -1;
}

std::string folder_of(const std::string& path) {
  const std::size_t slash = path.rfind('/');
  if (slash == std::string::npos) return ".";
  return slash == 0 ? "/" : path.substr(0, slash);
}

std::string leaf_of(const std::string& path) {
  const std::size_t slash = path.rfind('/');
  return slash == std::string::npos ? path : path.substr(slash + 1);
}

Error disk_error(const std::string& what, int code, const std::string& where) {
  const char* remedy = "check the disk";
  switch (code) {
    case ENOSPC:
    case EDQUOT:
      remedy = "free some space on that disk";
      break;
    case EACCES:
    case EPERM:
      remedy = "check the permissions";
      break;
    case EROFS:
      remedy = "the disk is mounted read-only; find out why";
      break;
    case ENOENT:
    case ENOTDIR:
      remedy = "check the name and the folder";
      break;
    default:
      break;
  }
  return {ErrorKind::environment, what + " (" + std::strerror(code) + ")", where, remedy};
}

int sync_folder(const std::string& folder) {
  const OwnedFile opened(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  if (!opened.is_open()) return errno;
  return ::fsync(opened.get()) == 0 ? 0 : errno;
}

int write_all(int descriptor, Bytes bytes) {
  while (!bytes.empty()) {
    const ssize_t done = ::write(descriptor, bytes.data(), bytes.size());
    if (done < 0 && errno == EINTR) continue;
    if (done <= 0) return done < 0 ? errno : EIO;
    bytes = bytes.subspan(static_cast<std::size_t>(done));
  }
  return 0;
}

std::int64_t read_up_to(int descriptor, std::uint8_t* into, std::size_t size) {
  std::size_t got = 0;
  while (got < size) {
    const ssize_t done = ::read(descriptor, into + got, size - got);
    if (done < 0 && errno == EINTR) continue;
    if (done < 0) return -1;
    if (done == 0) break;
    got += static_cast<std::size_t>(done);
  }
  return static_cast<std::int64_t>(got);
}

Result<bool> replace_file(const std::string& path, std::string_view text) {
  const std::string part = path + std::string(kPartEnding);
  int code = 0;
  {
    const OwnedFile file(::open(part.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0640));
    if (!file.is_open()) return disk_error("cannot create the file", errno, path);
    code = write_all(file.get(), {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()});
    if (code == 0 && ::fsync(file.get()) != 0) code = errno;
  }
  if (code == 0 && ::rename(part.c_str(), path.c_str()) != 0) code = errno;
  if (code != 0) {
    ::unlink(part.c_str());
    return disk_error("cannot write the file", code, path);
  }
  code = sync_folder(folder_of(path));
  if (code != 0) return disk_error("cannot write the folder", code, path);
  return true;
}

int remove_file(const std::string& path) {
  return ::unlink(path.c_str()) == 0 || errno == ENOENT ? 0 : errno;
}

}  // namespace tramlog
