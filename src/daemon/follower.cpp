#include "daemon/follower.hpp"

#include <sys/socket.h>
#include <unistd.h>

#include <cerrno>

namespace tramlog {

SocketFollower::SocketFollower(int descriptor) : descriptor_(descriptor) {
  const int bytes = 1 << 20;
  ::setsockopt(descriptor_, SOL_SOCKET, SO_SNDBUF, &bytes, sizeof bytes);
}

SocketFollower::~SocketFollower() {
  ::close(descriptor_);
}

bool SocketFollower::drain() {
  while (sent_ < waiting_.size()) {
    const ssize_t done = ::send(descriptor_, waiting_.data() + sent_, waiting_.size() - sent_, MSG_DONTWAIT | MSG_NOSIGNAL);
    if (done < 0 && errno == EINTR) continue;
    if (done < 0) return errno == EAGAIN || errno == EWOULDBLOCK;
    sent_ += static_cast<std::size_t>(done);
  }
  waiting_.clear();
  sent_ = 0;
  return true;
}

bool SocketFollower::take(const std::uint8_t* bytes, std::size_t size) {
  if (waiting_.size() - sent_ + size > kMostWaiting) return false;
  if (sent_ > waiting_.size() / 2) {
    waiting_.erase(waiting_.begin(), waiting_.begin() + static_cast<std::ptrdiff_t>(sent_));
    sent_ = 0;
  }
  waiting_.insert(waiting_.end(), bytes, bytes + size);
  return drain();
}

}  // namespace tramlog
