#include "io/output_file.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <utility>

namespace tramlog {
namespace {

Error environment(const std::string& what, int error, const std::string& where, const std::string& remedy) {
  return {ErrorKind::environment, what + " (" + std::strerror(error) + ")", where, remedy};
}

}  // namespace

OutputFile::OutputFile(std::string path, std::string part, int fd)
    : path_(std::move(path)), part_(std::move(part)), fd_(fd) {}

OutputFile::~OutputFile() {
  if (fd_ >= 0 && !path_.empty()) ::close(fd_);
  if (!part_.empty()) ::unlink(part_.c_str());
}

Result<std::unique_ptr<OutputFile>> OutputFile::create(const std::string& path) {
  if (path.empty() || path == "-") return std::unique_ptr<OutputFile>(new OutputFile("", "", STDOUT_FILENO));
  struct stat status {};
  const bool direct = ::stat(path.c_str(), &status) == 0 && !S_ISREG(status.st_mode);
  const std::string part = direct ? "" : path + ".part";
  const std::string& target = direct ? path : part;
  const int fd = ::open(target.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
  if (fd < 0)
    return environment("cannot create the file", errno, path, "check the folder and its permissions");
  return std::unique_ptr<OutputFile>(new OutputFile(path, part, fd));
}

void OutputFile::write(std::string_view bytes) {
  while (!bytes.empty() && error_ == 0) {
    const ssize_t done = ::write(fd_, bytes.data(), bytes.size());
    if (done >= 0)
      bytes.remove_prefix(static_cast<std::size_t>(done));
    else if (errno != EINTR)
      error_ = errno;
  }
}

Result<bool> OutputFile::finish() {
  if (path_.empty()) {
    if (error_ == EPIPE)
      return environment("the result was not read to its end", error_, "standard output",
                         "the program that reads it has ended; nothing else is to be done");
    if (error_ != 0)
      return environment("cannot write the result", error_, "standard output",
                         "free some space or write elsewhere");
    return true;
  }
  if (::close(std::exchange(fd_, -1)) != 0 && error_ == 0) error_ = errno;
  if (error_ != 0)
    return environment("cannot write the file", error_, path_, "free some space or write elsewhere");
  return part_.empty() ? true : put_in_place(std::exchange(part_, ""), path_);
}

Result<bool> put_in_place(const std::string& part, const std::string& path) {
  const int fd = ::open(part.c_str(), O_RDONLY | O_CLOEXEC);
  const bool on_disk = fd >= 0 && ::fsync(fd) == 0;
  int error = errno;
  if (fd >= 0) ::close(fd);
  if (on_disk) {
    if (::rename(part.c_str(), path.c_str()) == 0) return true;
    error = errno;
  }
  ::unlink(part.c_str());
  return on_disk ? environment("cannot put the file in place", error, path, "check the folder's permissions")
                 : environment("cannot write the file", error, path, "free some space or write elsewhere");
}

}  // namespace tramlog
