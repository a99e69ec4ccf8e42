#include "io/text_file.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>

#include "io/output_file.hpp"

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

 private:
  int fd_;
};

Error environment(const std::string& what, const std::string& where, const std::string& remedy) {
  return {ErrorKind::environment, what + " (" + std::strerror(errno) + ")", where, remedy};
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
  auto file = OutputFile::create(path);
  if (!file) return file.error();
  (*file)->write(text);
  const auto written = (*file)->finish();
  if (!written) return written.error();
  return text.size();
}

}  // namespace tramlog
