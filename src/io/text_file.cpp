#include "io/text_file.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <cstring>

namespace tramlog {
namespace {

// Owns a descriptor.
class Descriptor {
 public:
  explicit Descriptor(int fd) : fd_(fd) {}
  ~Descriptor() {
    if (fd_ >= 0) ::close(fd_);
  }
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  int get() const { return fd_; }
  int close() {
    const int result = ::close(fd_);
    fd_ = -1;
    return result;
  }

 private:
  int fd_;
};

Error environment(const std::string& what, const std::string& where, const std::string& remedy) {
  return {ErrorKind::environment, what + " (" + std::strerror(errno) + ")", where, remedy};
}

bool write_all(int fd, std::string_view text) {
  while (!text.empty()) {
    const ssize_t done = ::write(fd, text.data(), text.size());
    if (done < 0 && errno == EINTR) continue;
    if (done < 0) return false;
    text.remove_prefix(static_cast<std::size_t>(done));
  }
  return true;
}

}  // namespace

Result<std::string> read_text_file(const std::string& path, std::size_t max_bytes) {
  Descriptor file(::open(path.c_str(), O_RDONLY | O_CLOEXEC));
  if (file.get() < 0) {
    if (errno == ENOENT || errno == ENOTDIR)
      return Error{ErrorKind::input, "no such file", path, "check the name and the folder"};
    return environment("cannot open the file", path, "check its permissions");
  }
  struct stat status {};
  if (::fstat(file.get(), &status) == 0 && S_ISDIR(status.st_mode))
    return Error{ErrorKind::input, "this is a directory, not a file", path, "name a file in it"};
  std::string text;
  char buffer[65536];
  for (;;) {
    const ssize_t got = ::read(file.get(), buffer, sizeof buffer);
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) return environment("cannot read the file", path, "check the disk");
    if (got == 0) return text;
    text.append(buffer, static_cast<std::size_t>(got));
    if (text.size() > max_bytes)
      return Error{ErrorKind::input, "the file is larger than " + std::to_string(max_bytes) + " bytes", path,
                   "is it the right file?"};
  }
}

Result<std::size_t> write_text(const std::string& path, std::string_view text) {
  if (path.empty() || path == "-") {
    if (!write_all(STDOUT_FILENO, text))
      return environment("cannot write the result", "standard output", "free some space or write elsewhere");
    return text.size();
  }
  // A device or pipe cannot be replaced; an ordinary file is, so that a full disk leaves the old one whole.
  struct stat status {};
  const bool direct = ::stat(path.c_str(), &status) == 0 && !S_ISREG(status.st_mode);
  const std::string target = direct ? path : path + ".part";
  Descriptor file(::open(target.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666));
  if (file.get() < 0)
    return environment("cannot create the file", path, "check the folder and its permissions");
  const bool written = write_all(file.get(), text) && (direct || ::fsync(file.get()) == 0);
  if (!written || file.close() != 0) {
    const Error error = environment("cannot write the file", path, "free some space or write elsewhere");
    if (!direct) ::unlink(target.c_str());
    return error;
  }
  if (!direct && ::rename(target.c_str(), path.c_str()) != 0) {
    const Error error = environment("cannot put the file in place", path, "check the folder's permissions");
    ::unlink(target.c_str());
    return error;
  }
  return text.size();
}

}  // namespace tramlog
