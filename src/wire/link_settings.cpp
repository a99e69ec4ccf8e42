#include "wire/link_settings.hpp"

#include <linux/can/netlink.h>
#include <linux/if_link.h>
#include <linux/rtnetlink.h>
#include <net/if.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>

namespace tramlog {
namespace {

constexpr int kReplyPatience = 5000;  // ms; a driver may have to talk to its adapter

/// Grows a netlink message; numbers are in the order of this machine.
class Builder {
 public:
  Builder(std::uint16_t type, std::uint16_t flags, std::uint32_t sequence, const ifinfomsg& link) {
    nlmsghdr header{};
    header.nlmsg_type = type;
    header.nlmsg_flags = flags;
    header.nlmsg_seq = sequence;
    append(&header, sizeof header);
    append(&link, sizeof link);
  }
  void put(std::uint16_t type, const void* data, std::size_t size) {
    const rtattr head{static_cast<std::uint16_t>(sizeof(rtattr) + size), type};
    append(&head, sizeof head);
    append(data, size);
  }
  std::size_t open(std::uint16_t type) {
    const std::size_t at = bytes_.size();
    put(type, nullptr, 0);
    return at;
  }
  void close(std::size_t at) {
    const auto size = static_cast<std::uint16_t>(bytes_.size() - at);
    std::memcpy(bytes_.data() + at, &size, sizeof size);
  }
  std::vector<std::uint8_t> done() {
    const auto size = static_cast<std::uint32_t>(bytes_.size());
    std::memcpy(bytes_.data(), &size, sizeof size);
    return std::move(bytes_);
  }

 private:
  void append(const void* data, std::size_t size) {
    const auto* from = static_cast<const std::uint8_t*>(data);
    if (size != 0) bytes_.insert(bytes_.end(), from, from + size);
    bytes_.resize((bytes_.size() + 3) / 4 * 4);
  }
  std::vector<std::uint8_t> bytes_;
};

class Netlink {
 public:
  explicit Netlink(std::string interface) : interface_(std::move(interface)) {}
  Netlink(const Netlink&) = delete;
  Netlink& operator=(const Netlink&) = delete;
  ~Netlink() {
    if (descriptor_ >= 0) ::close(descriptor_);
  }

  std::optional<Error> open() {
    descriptor_ = ::socket(AF_NETLINK, SOCK_RAW | SOCK_CLOEXEC, NETLINK_ROUTE);
    if (descriptor_ < 0) return broken("cannot ask the kernel for its interfaces", errno);
    const int on = 1;
    ::setsockopt(descriptor_, SOL_NETLINK, NETLINK_EXT_ACK, &on, sizeof on);
    ::setsockopt(descriptor_, SOL_NETLINK, NETLINK_CAP_ACK, &on, sizeof on);
    index_ = static_cast<int>(::if_nametoindex(interface_.c_str()));
    if (index_ == 0)
      return Error{ErrorKind::environment, "there is no such interface", interface_,
                   "check that the adapter is plugged in, and the name"};
    return std::nullopt;
  }

  Result<LinkInfo> read_link() {
    std::vector<std::uint8_t> answer;
    auto reply = exchange(get_link_message(index_, ++sequence_), answer);
    if (!reply) return reply.error();
    bool done = false;
    for (LinkInfo& link : parse_links(answer, done))
      if (link.index == index_) return std::move(link);
    return broken("the kernel does not describe the interface", reply->error);
  }
  Result<NetlinkReply> up_down(bool up) {
    std::vector<std::uint8_t> answer;
    return exchange(up_down_message(index_, up, ++sequence_), answer);
  }
  Result<NetlinkReply> apply(const LinkSettings& settings) {
    std::vector<std::uint8_t> answer;
    return exchange(settings_message(index_, settings, ++sequence_), answer);
  }
  Error broken(const std::string& what, int code) const {
    return {ErrorKind::environment, code == 0 ? what : what + ": " + std::strerror(code), interface_,
            "check the interface and the kernel's messages"};
  }

 private:
  Result<NetlinkReply> exchange(const std::vector<std::uint8_t>& request, std::vector<std::uint8_t>& answer) {
    sockaddr_nl kernel{};
    kernel.nl_family = AF_NETLINK;
    if (::sendto(descriptor_, request.data(), request.size(), 0, reinterpret_cast<const sockaddr*>(&kernel),
                 sizeof kernel) != static_cast<ssize_t>(request.size()))
      return broken("cannot ask the kernel", errno);
    std::array<std::uint8_t, 32 * 1024> some;
    for (;;) {
      pollfd waiting{descriptor_, POLLIN, 0};
      const int ready = ::poll(&waiting, 1, kReplyPatience);
      if (ready < 0 && errno == EINTR) continue;
      if (ready <= 0) return broken("the kernel does not answer", ready < 0 ? errno : ETIMEDOUT);
      const ssize_t size = ::recv(descriptor_, some.data(), some.size(), 0);
      if (size < 0 && errno == EINTR) continue;
      if (size < 0) return broken("cannot hear the kernel's answer", errno);
      answer.insert(answer.end(), some.data(), some.data() + size);
      if (auto reply = parse_reply({some.data(), static_cast<std::size_t>(size)}, sequence_))
        return std::move(*reply);
    }
  }

  std::string interface_;
  int descriptor_ = -1;
  int index_ = 0;
  std::uint32_t sequence_ = 0;
};

Error refused(const NetlinkReply& reply, const std::string& what, const std::string& interface) {
  const std::string words = reply.words.empty() ? std::strerror(reply.error) : reply.words;
  if (reply.error == EPERM || reply.error == EACCES)
    return {ErrorKind::environment, what + ": not permitted", interface,
            "run it with CAP_NET_ADMIN; for tramlogd install the drop-in settings.conf that grants it"};
  if (reply.error == EOPNOTSUPP)
    return {ErrorKind::environment, what + ": the driver does not support it (" + words + ")", interface,
            "leave this setting out of the configuration, or use another adapter"};
  if (reply.error == EINVAL || reply.error == ERANGE || reply.error == EDOM)
    return {ErrorKind::environment, what + ": the driver cannot do these values (" + words + ")", interface,
            "check the bit rate; 250000 is that of ISO 11783"};
  return {ErrorKind::environment, what + ": " + words, interface,
          "check the interface and the kernel's messages"};
}

}  // namespace

LinkSettings missing_settings(const LinkSettings& wanted, const LinkInfo& link) {
  LinkSettings missing = wanted;
  if (missing.bitrate == link.bitrate) missing.bitrate.reset();
  if (missing.listen_only == link.listen_only) missing.listen_only.reset();
  if (missing.restart_ms == link.restart_ms) missing.restart_ms.reset();
  if (missing.berr_reporting == link.error_reporting) missing.berr_reporting.reset();
  return missing;
}

std::vector<std::uint8_t> up_down_message(int index, bool up, std::uint32_t sequence) {
  ifinfomsg link{};
  link.ifi_index = index;
  link.ifi_change = IFF_UP;
  link.ifi_flags = up ? IFF_UP : 0;
  return Builder(RTM_NEWLINK, NLM_F_REQUEST | NLM_F_ACK, sequence, link).done();
}

std::vector<std::uint8_t> get_link_message(int index, std::uint32_t sequence) {
  ifinfomsg link{};
  link.ifi_index = index;
  return Builder(RTM_GETLINK, NLM_F_REQUEST | NLM_F_ACK, sequence, link).done();
}

std::vector<std::uint8_t> settings_message(int index, const LinkSettings& settings, std::uint32_t sequence) {
  ifinfomsg link{};
  link.ifi_index = index;
  Builder message(RTM_NEWLINK, NLM_F_REQUEST | NLM_F_ACK, sequence, link);
  const std::size_t info = message.open(IFLA_LINKINFO);
  message.put(IFLA_INFO_KIND, "can", 4);
  const std::size_t data = message.open(IFLA_INFO_DATA);
  if (settings.bitrate) {
    // The rest of struct can_bittiming is 0: the kernel works it out for this controller.
    can_bittiming timing{};
    timing.bitrate = *settings.bitrate;
    message.put(IFLA_CAN_BITTIMING, &timing, sizeof timing);
  }
  if (settings.listen_only || settings.berr_reporting) {
    can_ctrlmode mode{};
    const auto choose = [&](const std::optional<bool>& wanted, std::uint32_t bit) {
      if (!wanted) return;
      mode.mask |= bit;
      if (*wanted) mode.flags |= bit;
    };
    choose(settings.listen_only, CAN_CTRLMODE_LISTENONLY);
    choose(settings.berr_reporting, CAN_CTRLMODE_BERR_REPORTING);
    message.put(IFLA_CAN_CTRLMODE, &mode, sizeof mode);
  }
  if (settings.restart_ms)
    message.put(IFLA_CAN_RESTART_MS, &*settings.restart_ms, sizeof *settings.restart_ms);
  message.close(data);
  message.close(info);
  return message.done();
}

std::optional<NetlinkReply> parse_reply(Bytes messages, std::uint32_t sequence) {
  while (messages.size() >= sizeof(nlmsghdr)) {
    nlmsghdr header;
    std::memcpy(&header, messages.data(), sizeof header);
    if (header.nlmsg_len < sizeof header || header.nlmsg_len > messages.size()) break;
    Bytes body = messages.subspan(NLMSG_HDRLEN, header.nlmsg_len - NLMSG_HDRLEN);
    messages = messages.subspan(std::min<std::size_t>(NLMSG_ALIGN(header.nlmsg_len), messages.size()));
    if (header.nlmsg_type != NLMSG_ERROR || header.nlmsg_seq != sequence || body.size() < sizeof(nlmsgerr))
      continue;
    nlmsgerr told;
    std::memcpy(&told, body.data(), sizeof told);
    NetlinkReply reply;
    reply.error = -told.error;
    if ((header.nlmsg_flags & NLM_F_ACK_TLVS) == 0) return reply;
    // With NLM_F_CAPPED the request is not repeated, only its header.
    std::size_t skip = sizeof told;
    if ((header.nlmsg_flags & NLM_F_CAPPED) == 0 && told.msg.nlmsg_len > sizeof(nlmsghdr))
      skip += NLMSG_ALIGN(told.msg.nlmsg_len) - sizeof(nlmsghdr);
    while (body.size() >= skip + sizeof(rtattr)) {
      body = body.subspan(skip);
      rtattr head;
      std::memcpy(&head, body.data(), sizeof head);
      if (head.rta_len < sizeof head || head.rta_len > body.size()) break;
      if ((head.rta_type & NLA_TYPE_MASK) == NLMSGERR_ATTR_MSG) {
        const auto* text = reinterpret_cast<const char*>(body.data() + sizeof head);
        reply.words.assign(text, strnlen(text, head.rta_len - sizeof head));
      }
      skip = RTA_ALIGN(head.rta_len);
    }
    return reply;
  }
  return std::nullopt;
}

Result<LinkSet> set_link(const std::string& interface, const LinkSettings& settings) {
  if (settings.bitrate && (*settings.bitrate == 0 || *settings.bitrate > 1'000'000))
    return Error{ErrorKind::usage, "this bit rate is not possible on CAN", interface,
                 "250000 is that of ISO 11783"};
  Netlink kernel(interface);
  if (auto error = kernel.open()) return std::move(*error);
  auto link = kernel.read_link();
  if (!link) return link.error();
  if (!link->is_can)
    return Error{ErrorKind::usage, "this is no CAN interface", interface, "name one such as can0"};
  if (link->kind != "can" && !settings.empty())
    return Error{ErrorKind::environment,
                 "a virtual interface (" + link->kind + ") has no bit rate and no modes", interface,
                 "leave the settings out for it"};

  const LinkSettings missing = missing_settings(settings, *link);
  bool up = link->up;
  const auto switch_to = [&](bool wanted) -> std::optional<Error> {
    auto reply = kernel.up_down(wanted);
    if (!reply) return reply.error();
    if (reply->error != 0)
      return refused(*reply, wanted ? "cannot bring the interface up" : "cannot take the interface down",
                     interface);
    up = wanted;
    return std::nullopt;
  };
  if (!missing.empty()) {
    if (up) {
      if (auto error = switch_to(false)) return std::move(*error);
    }
    auto reply = kernel.apply(missing);
    if (!reply || reply->error != 0) {
      if (link->up) switch_to(true);
      return reply ? refused(*reply, "cannot set the interface", interface) : reply.error();
    }
  }
  if (!up) {
    if (auto error = switch_to(true)) return std::move(*error);
  }
  return LinkSet{!missing.empty()};
}

}  // namespace tramlog
