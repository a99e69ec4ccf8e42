#include "io/byte_source.hpp"

#include <fcntl.h>
#include <poll.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <system_error>

namespace tramlog {

FileSource::FileSource(int descriptor, bool owns) : descriptor_(descriptor), owns_(owns) {
  (void)::posix_fadvise(descriptor, 0, 0, POSIX_FADV_SEQUENTIAL);  // a hint; pipes refuse it
}

FileSource::~FileSource() {
  if (owns_) ::close(descriptor_);
}

ByteSource::Chunk FileSource::read(std::uint8_t* into, std::size_t size) {
  if (failed_) return {};
  for (;;) {
    const ssize_t got = ::read(descriptor_, into, size);
    if (got > 0) return {Status::data, static_cast<std::size_t>(got)};
    if (got == 0) return {};
    if (errno == EINTR) continue;
    if (errno == EAGAIN || errno == EWOULDBLOCK) {  // a terminal or socket somebody made non-blocking
      pollfd wait{descriptor_, POLLIN, 0};
      (void)::poll(&wait, 1, -1);
      continue;
    }
    failed_ = true;
    gap_ = {"the system could not read on (" + std::generic_category().message(errno) + ")", 0};
    return {Status::gap, 0};
  }
}

ByteSource::Chunk MemorySource::read(std::uint8_t* into, std::size_t size) {
  std::size_t count = std::min(size, rest_.size());
  if (step_ > 0) count = std::min(count, step_);
  if (count == 0) return {};
  std::memcpy(into, rest_.data(), count);
  rest_ = rest_.subspan(count);
  return {Status::data, count};
}

}  // namespace tramlog
