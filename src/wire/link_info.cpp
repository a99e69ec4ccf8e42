#include "wire/link_info.hpp"

#include <linux/can/netlink.h>
#include <linux/if_link.h>
#include <linux/rtnetlink.h>

#include <algorithm>
#include <cstring>

namespace tramlog {
namespace {

// The headers of these clash with each other; fact sheet 8.4.
constexpr unsigned kUp = 0x1, kLowerUp = 0x10000;  // of ifi_flags
constexpr unsigned kHardwareCan = 280;             // ifi_type

/// Walks the attributes of a range; stops at one that runs over the end.
class Attributes {
 public:
  explicit Attributes(Bytes range) : rest_(range) {}
  bool next() {
    if (rest_.size() < sizeof(rtattr)) return false;
    rtattr head;
    std::memcpy(&head, rest_.data(), sizeof head);
    if (head.rta_len < sizeof head || head.rta_len > rest_.size()) return false;
    type_ = head.rta_type & NLA_TYPE_MASK;
    payload_ = rest_.subspan(sizeof head, head.rta_len - sizeof head);
    const std::size_t step = std::min<std::size_t>(RTA_ALIGN(head.rta_len), rest_.size());
    rest_ = rest_.subspan(step);
    return true;
  }
  unsigned type() const { return type_; }
  Bytes payload() const { return payload_; }
  template <class T>
  std::optional<T> as(std::size_t offset = 0) const {
    T value{};
    if (payload_.size() < offset + sizeof value) return std::nullopt;
    std::memcpy(&value, payload_.data() + offset, sizeof value);
    return value;
  }
  std::string text() const {
    const auto* at = reinterpret_cast<const char*>(payload_.data());
    return std::string(at, strnlen(at, payload_.size()));
  }

 private:
  Bytes rest_, payload_;
  unsigned type_ = 0;
};

void take_can_data(LinkInfo& link, Bytes data) {
  for (Attributes part(data); part.next();) {
    switch (part.type()) {
      case IFLA_CAN_BITTIMING:
        if (const auto rate = part.as<std::uint32_t>(); rate && *rate != 0) link.bitrate = rate;
        break;
      case IFLA_CAN_STATE:
        if (const auto state = part.as<std::uint32_t>(); state && *state <= 5) link.state = static_cast<CanState>(*state);
        break;
      case IFLA_CAN_CTRLMODE:
        if (const auto flags = part.as<std::uint32_t>(4)) {
          link.listen_only = (*flags & CAN_CTRLMODE_LISTENONLY) != 0;
          link.error_reporting = (*flags & CAN_CTRLMODE_BERR_REPORTING) != 0;
        }
        break;
      case IFLA_CAN_RESTART_MS:
        link.restart_ms = part.as<std::uint32_t>();
        break;
      case IFLA_CAN_BERR_COUNTER:
        link.transmit_errors = part.as<std::uint16_t>();
        link.receive_errors = part.as<std::uint16_t>(2);
        break;
      default:
        break;
    }
  }
}

void take_link_info(LinkInfo& link, Bytes info) {
  Bytes data, statistics;
  for (Attributes part(info); part.next();) {
    if (part.type() == IFLA_INFO_KIND) link.kind = part.text();
    if (part.type() == IFLA_INFO_DATA) data = part.payload();
    if (part.type() == IFLA_INFO_XSTATS) statistics = part.payload();
  }
  if (link.kind != "can") return;
  take_can_data(link, data);
  // struct can_device_stats: bus_error, error_warning, error_passive, bus_off, arbitration_lost, restarts.
  std::uint32_t counts[6];
  if (statistics.size() >= sizeof counts) {
    std::memcpy(counts, statistics.data(), sizeof counts);
    link.bus_offs = counts[3];
    link.restarts = counts[5];
  }
}

LinkInfo link_of(const nlmsghdr& header, Bytes body) {
  LinkInfo link;
  ifinfomsg head;
  std::memcpy(&head, body.data(), sizeof head);
  link.index = head.ifi_index;
  link.is_can = head.ifi_type == kHardwareCan;
  link.removed = header.nlmsg_type == RTM_DELLINK;
  link.up = (head.ifi_flags & kUp) != 0;
  link.carrier = (head.ifi_flags & kLowerUp) != 0;
  for (Attributes part(body.subspan(std::min<std::size_t>(NLMSG_ALIGN(sizeof head), body.size()))); part.next();) {
    if (part.type() == IFLA_IFNAME) link.name = part.text();
    if (part.type() == IFLA_LINKINFO) take_link_info(link, part.payload());
    if (part.type() != IFLA_STATS64) continue;
    // struct rtnl_link_stats64 in its order (fact sheet 8.4).
    const auto count = [&](std::size_t place) { return part.as<std::uint64_t>(place * 8).value_or(0); };
    link.received = count(0);
    link.sent = count(1);
    link.receive_failures = count(4);
    link.interface_dropped = count(6) + count(11) + count(14) + count(15);
  }
  return link;
}

}  // namespace

std::vector<LinkInfo> parse_links(Bytes messages, bool& done) {
  std::vector<LinkInfo> links;
  while (messages.size() >= sizeof(nlmsghdr)) {
    nlmsghdr header;
    std::memcpy(&header, messages.data(), sizeof header);
    if (header.nlmsg_len < sizeof header || header.nlmsg_len > messages.size()) break;
    const Bytes body = messages.subspan(NLMSG_HDRLEN, header.nlmsg_len - NLMSG_HDRLEN);
    if (header.nlmsg_type == NLMSG_DONE || header.nlmsg_type == NLMSG_ERROR) done = true;
    if ((header.nlmsg_type == RTM_NEWLINK || header.nlmsg_type == RTM_DELLINK) && body.size() >= sizeof(ifinfomsg))
      links.push_back(link_of(header, body));
    messages = messages.subspan(std::min<std::size_t>(NLMSG_ALIGN(header.nlmsg_len), messages.size()));
  }
  return links;
}

const char* can_state_word(CanState state) {
  switch (state) {
    case CanState::error_active:
      return "error-active";
    case CanState::warning:
      return "error warning";
    case CanState::passive:
      return "error-passive";
    case CanState::bus_off:
      return "bus-off";
    case CanState::stopped:
      return "stopped";
    case CanState::sleeping:
      break;
  }
  return "sleeping";
}

}  // namespace tramlog
