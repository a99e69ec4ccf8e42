#include "wire/link_monitor.hpp"

#include <linux/rtnetlink.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>

namespace tramlog {

Result<LinkMonitor> LinkMonitor::open() {
  const int descriptor = ::socket(AF_NETLINK, SOCK_RAW | SOCK_NONBLOCK | SOCK_CLOEXEC, NETLINK_ROUTE);
  sockaddr_nl address{};
  address.nl_family = AF_NETLINK;
  address.nl_groups = RTMGRP_LINK;
  if (descriptor < 0 || ::bind(descriptor, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0) {
    const int code = errno;
    if (descriptor >= 0) ::close(descriptor);
    return Error{ErrorKind::environment, std::string("cannot watch the interfaces: ") + std::strerror(code), "rtnetlink",
                 "allow netlink sockets (AF_NETLINK) to this program"};
  }
  return LinkMonitor(descriptor);
}

LinkMonitor::~LinkMonitor() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

void LinkMonitor::ask_all() {
  struct {
    nlmsghdr head;
    ifinfomsg body;
  } request{};
  request.head.nlmsg_len = NLMSG_LENGTH(sizeof request.body);
  request.head.nlmsg_type = RTM_GETLINK;
  request.head.nlmsg_flags = NLM_F_REQUEST | NLM_F_DUMP;
  request.body.ifi_family = AF_UNSPEC;
  // If the kernel is still busy with the last dump, the next second's will do.
  (void)!::send(descriptor_, &request, request.head.nlmsg_len, MSG_DONTWAIT);
}

LinkMonitor::News LinkMonitor::read() {
  News news;
  alignas(nlmsghdr) static thread_local std::array<std::uint8_t, 65536> space;
  for (;;) {
    const ssize_t size = ::recv(descriptor_, space.data(), space.size(), MSG_DONTWAIT);
    if (size < 0 && errno == EINTR) continue;
    if (size < 0 && errno == ENOBUFS) {
      news.missed = true;
      continue;
    }
    if (size <= 0) return news;
    for (LinkInfo& link : parse_links({space.data(), static_cast<std::size_t>(size)}, news.dump_done))
      news.links.push_back(std::move(link));
  }
}

}  // namespace tramlog
