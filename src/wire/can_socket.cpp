#include "wire/can_socket.hpp"

#include <linux/can.h>
#include <linux/can/raw.h>
#include <linux/errqueue.h>
#include <linux/net_tstamp.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>

#include "wire/kernel_frame.hpp"

namespace tramlog {
namespace {

// struct scm_timestamping of three timespec, and the drop counter.
constexpr std::size_t kControlBytes = CMSG_SPACE(sizeof(scm_timestamping)) + CMSG_SPACE(sizeof(std::uint32_t)) + 64;

TimeNs ns_of(const timespec& time) {
  return static_cast<TimeNs>(time.tv_sec) * kSecond + time.tv_nsec;
}

Error failed(int code, const std::string& interface) {
  const bool no_can = code == EAFNOSUPPORT || code == EPROTONOSUPPORT;
  return {ErrorKind::environment,
          std::string("cannot listen: ") + (no_can ? "this kernel has no CAN sockets" : std::strerror(code)), interface,
          no_can ? "load the kernel's modules can and can-raw"
                 : "check that the interface exists and is a CAN interface"};
}

}  // namespace

struct CanSocket::Impl {
  struct Slot {
    canfd_frame frame;
    iovec part;
    alignas(cmsghdr) std::uint8_t control[kControlBytes];
  };

  int descriptor = -1;
  int granted = 0;
  int error = 0;
  std::uint32_t dropped = 0;
  std::vector<Slot> slots{kMost};
  std::vector<mmsghdr> headers{kMost};

  Impl() {
    for (std::size_t i = 0; i < kMost; ++i) {
      slots[i].part = {&slots[i].frame, sizeof(canfd_frame)};
      msghdr& header = headers[i].msg_hdr;
      header = {};
      header.msg_iov = &slots[i].part;
      header.msg_iovlen = 1;
    }
  }
  Impl(const Impl&) = delete;
  Impl& operator=(const Impl&) = delete;
  ~Impl() {
    if (descriptor >= 0) ::close(descriptor);
  }

  void take(std::size_t index, std::vector<HeardFrame>& into);
};

CanSocket::CanSocket(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
CanSocket::CanSocket(CanSocket&&) noexcept = default;
CanSocket& CanSocket::operator=(CanSocket&&) noexcept = default;
CanSocket::~CanSocket() = default;
int CanSocket::descriptor() const { return impl_->descriptor; }
int CanSocket::buffer_granted() const { return impl_->granted; }
int CanSocket::last_error() const { return impl_->error; }

Result<CanSocket> CanSocket::open(const std::string& interface, int index, int buffer_bytes) {
  auto impl = std::make_unique<Impl>();
  impl->descriptor = ::socket(PF_CAN, SOCK_RAW | SOCK_NONBLOCK | SOCK_CLOEXEC, CAN_RAW);
  if (impl->descriptor < 0) return failed(errno, interface);
  const int fd = impl->descriptor, on = 1;
  const can_err_mask_t errors = CAN_ERR_MASK;
  // Without the last of these a frame has no time or a loss no count, so all must hold.
  const int stamps = SOF_TIMESTAMPING_RX_SOFTWARE | SOF_TIMESTAMPING_SOFTWARE | SOF_TIMESTAMPING_RX_HARDWARE |
                     SOF_TIMESTAMPING_RAW_HARDWARE;
  if (::setsockopt(fd, SOL_CAN_RAW, CAN_RAW_ERR_FILTER, &errors, sizeof errors) != 0 ||
      ::setsockopt(fd, SOL_SOCKET, SO_TIMESTAMPING, &stamps, sizeof stamps) != 0 ||
      ::setsockopt(fd, SOL_SOCKET, SO_RXQ_OVFL, &on, sizeof on) != 0)
    return failed(errno, interface);
  ::setsockopt(fd, SOL_CAN_RAW, CAN_RAW_FD_FRAMES, &on, sizeof on);  // an old kernel may know none
  // With the right to do so the limit of the machine does not count.
  if (::setsockopt(fd, SOL_SOCKET, SO_RCVBUFFORCE, &buffer_bytes, sizeof buffer_bytes) != 0)
    ::setsockopt(fd, SOL_SOCKET, SO_RCVBUF, &buffer_bytes, sizeof buffer_bytes);
  socklen_t size = sizeof impl->granted;
  ::getsockopt(fd, SOL_SOCKET, SO_RCVBUF, &impl->granted, &size);
  sockaddr_can address{};
  address.can_family = AF_CAN;
  address.can_ifindex = index;
  if (::bind(fd, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0) return failed(errno, interface);
  return CanSocket(std::move(impl));
}

void CanSocket::Impl::take(std::size_t index, std::vector<HeardFrame>& into) {
  const msghdr& header = headers[index].msg_hdr;
  const std::size_t size = headers[index].msg_len;
  Event event;
  if (!read_kernel_frame(slots[index].frame, size, header.msg_flags, event)) return;
  HeardFrame& heard = into.emplace_back();
  for (const cmsghdr* part = CMSG_FIRSTHDR(&header); part != nullptr;
       part = CMSG_NXTHDR(const_cast<msghdr*>(&header), const_cast<cmsghdr*>(part))) {
    if (part->cmsg_level != SOL_SOCKET) continue;
    if (part->cmsg_type == SO_RXQ_OVFL) {
      std::memcpy(&dropped, CMSG_DATA(part), sizeof dropped);
    } else if (part->cmsg_type == SCM_TIMESTAMPING) {
      scm_timestamping times;
      std::memcpy(&times, CMSG_DATA(part), sizeof times);
      heard.kernel_time = ns_of(times.ts[0]);
      heard.hardware_time = ns_of(times.ts[2]);
    }
  }
  heard.dropped = dropped;
  heard.kind = event.kind;
  heard.id = event.id;
  heard.flags = event.flags;
  heard.len = event.len;
  std::copy_n(event.data, event.len, heard.data.begin());
}

Gulp CanSocket::read(std::vector<HeardFrame>& into) {
  for (std::size_t i = 0; i < kMost; ++i) {
    impl_->headers[i].msg_hdr.msg_control = impl_->slots[i].control;
    impl_->headers[i].msg_hdr.msg_controllen = kControlBytes;
  }
  int count = 0;
  do {
    count = ::recvmmsg(impl_->descriptor, impl_->headers.data(), kMost, MSG_DONTWAIT, nullptr);
  } while (count < 0 && errno == EINTR);
  if (count < 0) {
    impl_->error = errno;
    if (errno == EAGAIN || errno == EWOULDBLOCK) return Gulp::dry;
    if (errno == ENETDOWN) return Gulp::down;
    if (errno == ENODEV || errno == ENXIO) return Gulp::gone;
    return Gulp::failed;
  }
  for (std::size_t i = 0; i < static_cast<std::size_t>(count); ++i) impl_->take(i, into);
  return static_cast<std::size_t>(count) == kMost ? Gulp::more : Gulp::dry;
}

}  // namespace tramlog
