#include "wire/speaking_socket.hpp"

#include <linux/can.h>
#include <linux/can/raw.h>
#include <net/if.h>
#include <poll.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <utility>

#include "wire/kernel_frame.hpp"

namespace tramlog {
namespace {

constexpr int kCanHardware = 280;         // ARPHRD_CAN; fact sheet 8.4
constexpr SpanNs kOldest = 10 * kSecond;  // that a frame may be when it is read; more is a clock that was set
constexpr SpanNs kLongestWait = 100 * kMillisecond;  // between two looks at the stop flag

TimeNs clock_time(clockid_t clock) {
  timespec now{};
  ::clock_gettime(clock, &now);
  return static_cast<TimeNs>(now.tv_sec) * kSecond + now.tv_nsec;
}

/// A kernel stamp is of the clock that may be set; its age is all that is taken from it.
TimeNs on_running_clock(TimeNs stamp) {
  TimeNs before = 0, real = 0, after = 0;
  // If this thread was held up between the readings, the frame would seem older than it is.
  for (int tries = 0; tries < 5; ++tries) {
    before = clock_time(CLOCK_MONOTONIC);
    real = clock_time(CLOCK_REALTIME);
    after = clock_time(CLOCK_MONOTONIC);
    if (after - before < 100 * kMicrosecond) break;
  }
  return after - std::clamp<SpanNs>(real - stamp, 0, kOldest);
}

Error trouble(int code, const std::string& interface) {
  switch (code) {
    case EAFNOSUPPORT:
    case EPROTONOSUPPORT:
      return {ErrorKind::environment, "this kernel has no CAN sockets", interface,
              "load the kernel's modules can and can-raw"};
    case ENETDOWN:
      return {ErrorKind::environment, "the interface is down", interface, "set its bit rate and bring it up"};
    case ENODEV:
    case ENXIO:
      return {ErrorKind::environment, "there is no such interface", interface,
              "check that the adapter is plugged in, and the name"};
    case ENOBUFS:
    case EAGAIN:
      return {ErrorKind::environment, "the bus takes no frames: the interface's queue stays full", interface,
              "check bit rate and cable, and that another unit is there to acknowledge"};
    default:
      return {ErrorKind::environment, std::string("cannot send or listen: ") + std::strerror(code), interface,
              "check that it is a CAN interface and the permission to use it"};
  }
}

}  // namespace

TimeNs running_time() {
  return clock_time(CLOCK_MONOTONIC);
}

std::size_t encode_frame(const Event& event, std::uint8_t (&into)[72]) {
  if (event.kind != EventKind::frame || (event.flags & kShortData) != 0) return 0;
  const bool fd = (event.flags & kFd) != 0, remote = (event.flags & kRemote) != 0;
  if (event.len > (fd ? CANFD_MAX_DLEN : CAN_MAX_DLEN)) return 0;
  std::memset(into, 0, sizeof into);
  std::uint32_t word = event.id & ((event.flags & kExtendedId) != 0 ? CAN_EFF_MASK : CAN_SFF_MASK);
  if ((event.flags & kExtendedId) != 0) word |= CAN_EFF_FLAG;
  if (remote && !fd) word |= CAN_RTR_FLAG;
  std::memcpy(into, &word, sizeof word);  // in the order of this machine
  into[4] = event.len;
  if (fd) {
    into[5] = static_cast<std::uint8_t>(((event.flags & kBitRateSwitch) != 0 ? CANFD_BRS : 0) |
                                        ((event.flags & kErrorState) != 0 ? CANFD_ESI : 0));
  }
  if (!remote && event.len != 0) std::memcpy(into + 8, event.data, event.len);
  return fd ? CANFD_MTU : CAN_MTU;
}

struct SpeakingSocket::Impl {
  int descriptor = -1;
  int index = 0;
  int error = 0;
  bool fd = false;
  std::string interface;
  std::uint32_t lost = 0;
  Impl() = default;
  Impl(const Impl&) = delete;
  Impl& operator=(const Impl&) = delete;
  ~Impl() {
    if (descriptor >= 0) ::close(descriptor);
  }
};

SpeakingSocket::SpeakingSocket(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
SpeakingSocket::SpeakingSocket(SpeakingSocket&&) noexcept = default;
SpeakingSocket& SpeakingSocket::operator=(SpeakingSocket&&) noexcept = default;
SpeakingSocket::~SpeakingSocket() = default;
const std::string& SpeakingSocket::interface() const {
  return impl_->interface;
}
int SpeakingSocket::index() const {
  return impl_->index;
}
int SpeakingSocket::descriptor() const {
  return impl_->descriptor;
}
bool SpeakingSocket::takes_fd() const {
  return impl_->fd;
}
Error SpeakingSocket::last_error() const {
  return trouble(impl_->error, impl_->interface);
}

Result<SpeakingSocket> SpeakingSocket::open(const std::string& interface) {
  auto impl = std::make_unique<Impl>();
  impl->interface = interface;
  impl->descriptor = ::socket(PF_CAN, SOCK_RAW | SOCK_NONBLOCK | SOCK_CLOEXEC, CAN_RAW);
  if (impl->descriptor < 0) return trouble(errno, interface);
  const int fd = impl->descriptor, on = 1;

  ifreq query{};
  if (interface.empty() || interface.size() >= sizeof query.ifr_name) return trouble(ENODEV, interface);
  std::memcpy(query.ifr_name, interface.data(), interface.size());
  if (::ioctl(fd, SIOCGIFHWADDR, &query) != 0) return trouble(errno, interface);
  if (query.ifr_hwaddr.sa_family != kCanHardware)
    return Error{ErrorKind::usage, "this is no CAN interface", interface, "name one such as can0"};
  if (::ioctl(fd, SIOCGIFFLAGS, &query) != 0) return trouble(errno, interface);
  if ((query.ifr_flags & IFF_UP) == 0) return trouble(ENETDOWN, interface);
  if (::ioctl(fd, SIOCGIFMTU, &query) == 0) impl->fd = query.ifr_mtu >= static_cast<int>(CANFD_MTU);
  if (::ioctl(fd, SIOCGIFINDEX, &query) != 0) return trouble(errno, interface);
  impl->index = query.ifr_ifindex;

  const can_err_mask_t errors = CAN_ERR_MASK;
  if (::setsockopt(fd, SOL_CAN_RAW, CAN_RAW_ERR_FILTER, &errors, sizeof errors) != 0 ||
      ::setsockopt(fd, SOL_CAN_RAW, CAN_RAW_RECV_OWN_MSGS, &on, sizeof on) != 0 ||
      ::setsockopt(fd, SOL_SOCKET, SO_TIMESTAMPNS, &on, sizeof on) != 0 ||
      ::setsockopt(fd, SOL_SOCKET, SO_RXQ_OVFL, &on, sizeof on) != 0)
    return trouble(errno, interface);
  const int buffer = 4 << 20;
  if (::setsockopt(fd, SOL_SOCKET, SO_RCVBUFFORCE, &buffer, sizeof buffer) != 0)
    ::setsockopt(fd, SOL_SOCKET, SO_RCVBUF, &buffer, sizeof buffer);
  if (impl->fd) ::setsockopt(fd, SOL_CAN_RAW, CAN_RAW_FD_FRAMES, &on, sizeof on);
  sockaddr_can address{};
  address.can_family = AF_CAN;
  address.can_ifindex = impl->index;
  if (::bind(fd, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0)
    return trouble(errno, interface);
  return SpeakingSocket(std::move(impl));
}

void SpeakingSocket::close_ears() {
  const can_err_mask_t none = 0;
  ::setsockopt(impl_->descriptor, SOL_CAN_RAW, CAN_RAW_FILTER, nullptr, 0);
  ::setsockopt(impl_->descriptor, SOL_CAN_RAW, CAN_RAW_ERR_FILTER, &none, sizeof none);
}

SpeakingSocket::Sent SpeakingSocket::send(const std::uint8_t* frame, std::size_t size) {
  ssize_t written = 0;
  do {
    written = ::write(impl_->descriptor, frame, size);
  } while (written < 0 && errno == EINTR);
  if (written == static_cast<ssize_t>(size)) return Sent::yes;
  impl_->error = written < 0 ? errno : EIO;
  return impl_->error == ENOBUFS || impl_->error == EAGAIN ? Sent::full : Sent::failed;
}

std::optional<Error> SpeakingSocket::send_patiently(const Event& frame, SpanNs patience) {
  std::uint8_t bytes[72];
  const std::size_t size = encode_frame(frame, bytes);
  if (size == 0)
    return Error{ErrorKind::input, "this is no frame that can be sent", impl_->interface, "leave it out"};
  const TimeNs give_up = running_time() + patience;
  for (;;) {
    const Sent sent = send(bytes, size);
    if (sent == Sent::yes) return std::nullopt;
    if (sent == Sent::failed || running_time() >= give_up) return last_error();
    const timespec pause{0, kMillisecond};
    ::nanosleep(&pause, nullptr);
  }
}

std::optional<Error> SpeakingSocket::read(const std::function<void(const Event&, bool)>& each) {
  for (;;) {
    canfd_frame frame;
    iovec part{&frame, sizeof frame};
    alignas(cmsghdr) std::uint8_t control[CMSG_SPACE(sizeof(timespec)) + CMSG_SPACE(sizeof(std::uint32_t))];
    msghdr header{};
    header.msg_iov = &part;
    header.msg_iovlen = 1;
    header.msg_control = control;
    header.msg_controllen = sizeof control;
    const ssize_t size = ::recvmsg(impl_->descriptor, &header, MSG_DONTWAIT);
    if (size < 0) {
      if (errno == EINTR) continue;
      if (errno == EAGAIN || errno == EWOULDBLOCK) return std::nullopt;
      impl_->error = errno;
      return last_error();
    }
    Event event;
    if (!read_kernel_frame(frame, static_cast<std::size_t>(size), header.msg_flags, event)) continue;
    event.time = running_time();
    std::uint32_t lost = impl_->lost;
    for (cmsghdr* item = CMSG_FIRSTHDR(&header); item != nullptr; item = CMSG_NXTHDR(&header, item)) {
      if (item->cmsg_level != SOL_SOCKET) continue;
      if (item->cmsg_type == SCM_TIMESTAMPNS) {
        timespec stamp;
        std::memcpy(&stamp, CMSG_DATA(item), sizeof stamp);
        event.time = on_running_clock(static_cast<TimeNs>(stamp.tv_sec) * kSecond + stamp.tv_nsec);
      } else if (item->cmsg_type == SO_RXQ_OVFL) {
        std::memcpy(&lost, CMSG_DATA(item), sizeof lost);
      }
    }
    if (lost != impl_->lost) {
      const Notice notice = FramesLost{lost - impl_->lost};
      impl_->lost = lost;
      Event told;
      told.kind = EventKind::notice;
      told.time = event.time;
      told.notice = &notice;
      each(told, false);
    }
    each(event, (header.msg_flags & MSG_CONFIRM) != 0);
  }
}

bool wait_for(int first, int second, TimeNs until, const StopFlag* stop) {
  for (;;) {
    if (stop && stop->load(std::memory_order_relaxed)) return false;
    const SpanNs left = until - running_time();
    if (left <= 0) return true;
    pollfd watched[2] = {{first, POLLIN, 0}, {second, POLLIN, 0}};  // poll passes over -1
    // Rounded up: waking early would turn the last fraction of a millisecond into a busy loop.
    const SpanNs slice = std::min(left + kMillisecond - 1, kLongestWait);
    if (::poll(watched, 2, static_cast<int>(slice / kMillisecond)) > 0) return true;
  }
}

}  // namespace tramlog
