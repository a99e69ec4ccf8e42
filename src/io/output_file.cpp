#include "io/output_file.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <random>
#include <utility>

#include "io/unfinished.hpp"

namespace tramlog {
namespace {

Error environment(const std::string& what, int error, const std::string& where, const std::string& remedy) {
  return {ErrorKind::environment, what + " (" + std::strerror(error) + ")", where, remedy};
}

constexpr int kMostLinks = 40;
constexpr int kMostTries = 100;

std::string folder_of(const std::string& path) {
  const std::size_t slash = path.rfind('/');
  return slash == std::string::npos ? "" : path.substr(0, slash + 1);
}

/// What the link at this place points to, also if nothing is there yet.
std::string behind_links(std::string path) {
  char target[4096];
  for (int i = 0; i < kMostLinks; ++i) {
    const ssize_t length = ::readlink(path.c_str(), target, sizeof target);
    if (length <= 0 || static_cast<std::size_t>(length) == sizeof target) break;
    const std::string to(target, static_cast<std::size_t>(length));
    path = to.front() == '/' ? to : folder_of(path) + to;
  }
  return path;
}

/// A hidden name: who looks for captures in the folder does not take it for one.
std::string random_name() {
  constexpr char kLetters[] = "0123456789abcdefghijklmnopqrstuvwxyz";
  std::random_device random;
  std::string name = ".tramlog-";
  for (int i = 0; i < 12; ++i) name += kLetters[random() % 36];
  return name + ".part";
}

}  // namespace

Outlet open_outlet(const std::string& path, mode_t mode) {
  Outlet out;
  out.path = behind_links(path);
  struct stat status {};
  const bool exists = ::stat(path.c_str(), &status) == 0;
  // An open file of this process (/dev/stdout) has no place of its own that another could take.
  if ((exists && !S_ISREG(status.st_mode)) || out.path.starts_with("/proc/")) {
    out.path = path;
    out.fd = ::open(path.c_str(), O_WRONLY | O_TRUNC | O_CLOEXEC);
    out.error = out.fd < 0 ? errno : 0;
    return out;
  }
  if (exists && ::access(path.c_str(), W_OK) != 0) {
    out.error = errno;
    return out;
  }
  const SignalsHeld held;
  for (int i = 0; i < kMostTries; ++i) {
    out.part = folder_of(out.path) + random_name();
    out.fd = ::open(out.part.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, mode);
    out.error = out.fd < 0 ? errno : 0;
    if (out.error != EEXIST) break;
  }
  if (out.fd >= 0) note_unfinished(out.part);
  if (out.fd < 0)
    out.part.clear();
  else if (exists)
    (void)::fchmod(out.fd, status.st_mode & 0777);
  return out;
}

OutputFile::OutputFile(std::string path, std::string part, int fd)
    : path_(std::move(path)), part_(std::move(part)), fd_(fd) {}

OutputFile::~OutputFile() {
  if (fd_ >= 0 && !path_.empty()) ::close(fd_);
  if (!part_.empty()) remove_unfinished(part_);
}

Result<std::unique_ptr<OutputFile>> OutputFile::create(const std::string& path) {
  if (path.empty() || path == "-") return std::unique_ptr<OutputFile>(new OutputFile("", "", STDOUT_FILENO));
  Outlet out = open_outlet(path, 0666);
  if (out.fd < 0)
    return environment("cannot create the file", out.error, path, "check the folder and its permissions");
  return std::unique_ptr<OutputFile>(new OutputFile(std::move(out.path), std::move(out.part), out.fd));
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
    if (::rename(part.c_str(), path.c_str()) == 0) {
      forget_unfinished(part);
      return true;
    }
    error = errno;
  }
  remove_unfinished(part);
  return on_disk ? environment("cannot put the file in place", error, path, "check the folder's permissions")
                 : environment("cannot write the file", error, path, "free some space or write elsewhere");
}

}  // namespace tramlog
