#include "party.hpp"

#include <linux/can.h>
#include <linux/can/j1939.h>
#include <linux/errqueue.h>
#include <linux/net_tstamp.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <utility>

#include "live.hpp"

namespace live {

namespace {

constexpr std::uint32_t kRequest = 0xEA00;
constexpr std::uint32_t kAcknowledgement = 0xE800;
constexpr std::uint32_t kClaim = 0xEE00;
constexpr std::uint32_t kSoftware = 65242;
constexpr std::uint32_t kEcu = 64965;
constexpr std::uint32_t kProduct = 64653;
constexpr std::uint32_t kFaults = 65226;
constexpr std::uint32_t kCyclic = 0xFF21;
constexpr std::uint8_t kAll = 0xFF;
constexpr std::uint8_t kNull = 0xFE;

sockaddr_can socket_address(const std::string& interface, std::uint64_t name, std::uint32_t pgn,
                            std::uint8_t address) {
  sockaddr_can made{};
  made.can_family = AF_CAN;
  made.can_ifindex = static_cast<int>(interface_index(interface));
  made.can_addr.j1939.name = name;
  made.can_addr.j1939.pgn = pgn;
  made.can_addr.j1939.addr = address;
  return made;
}

int open_socket() {
  const int fd = socket(PF_CAN, SOCK_DGRAM | SOCK_CLOEXEC, CAN_J1939);
  if (fd < 0) give_up("j1939 socket (kernel module can-j1939)");
  const int on = 1;
  if (setsockopt(fd, SOL_SOCKET, SO_BROADCAST, &on, sizeof on) != 0) give_up("broadcasts");
  const int size = 4 * 1024 * 1024;
  setsockopt(fd, SOL_SOCKET, SO_SNDBUFFORCE, &size, sizeof size);
  setsockopt(fd, SOL_SOCKET, SO_RCVBUFFORCE, &size, sizeof size);
  return fd;
}

ssize_t send_to(int fd, const std::string& interface, std::uint32_t pgn, std::uint8_t to,
                const std::vector<std::uint8_t>& data) {
  const sockaddr_can address = socket_address(interface, J1939_NO_NAME, pgn, to);
  return sendto(fd, data.data(), data.size(), 0, reinterpret_cast<const sockaddr*>(&address), sizeof address);
}

std::vector<std::uint8_t> name_bytes(std::uint64_t name) {
  std::vector<std::uint8_t> bytes;
  for (unsigned i = 0; i < 8; ++i) bytes.push_back(static_cast<std::uint8_t>(name >> (8U * i)));
  return bytes;
}

}  // namespace

Party::Party(PartyPlan plan, std::FILE* received)
    : plan_(std::move(plan)), received_(received), busy_left_(plan_.busy) {
  fd_ = open_socket();
}

void Party::bind_to(std::uint8_t address) {
  const sockaddr_can own = socket_address(plan_.interface, plan_.name, J1939_NO_PGN, address);
  if (bind(fd_, reinterpret_cast<const sockaddr*>(&own), sizeof own) != 0) give_up("bind as a controller");
}

void Party::claim() {
  bind_to(plan_.address);
  has_address_ = true;
  if (!send(kClaim, kAll, name_bytes(plan_.name))) std::fprintf(stderr, "claim: %s\n", std::strerror(errno));
}

void Party::leave() {
  bind_to(kNull);
  has_address_ = false;
  send(kClaim, kAll, name_bytes(plan_.name));
}

bool Party::send(std::uint32_t pgn, std::uint8_t to, const std::vector<std::uint8_t>& data) {
  for (int tries = 0; tries < 50; ++tries) {
    if (send_to(fd_, plan_.interface, pgn, to, data) == static_cast<ssize_t>(data.size())) return true;
    if (errno == ENOBUFS) {
      usleep(1000);
      continue;
    }
    // A transfer that was aborted is told to the next call; that call may be repeated once.
    if (errno != EHOSTUNREACH || tries > 0) break;
  }
  if (errno != EADDRNOTAVAIL && errno != ENETDOWN)
    std::fprintf(stderr, "party %02x, PGN %u to %02x: %s\n", plan_.address, pgn, to, std::strerror(errno));
  return false;
}

void Party::listen(bool answers) {
  std::vector<std::uint8_t> data(1 << 21);
  while (true) {
    sockaddr_can from{};
    iovec part{data.data(), data.size()};
    char control[256];
    msghdr header{};
    header.msg_name = &from;
    header.msg_namelen = sizeof from;
    header.msg_iov = &part;
    header.msg_iovlen = 1;
    header.msg_control = control;
    header.msg_controllen = sizeof control;
    const ssize_t size = recvmsg(fd_, &header, MSG_DONTWAIT);
    if (size < 0) {
      if (errno == EINTR) continue;
      return;
    }
    std::uint8_t to = kAll;
    for (cmsghdr* item = CMSG_FIRSTHDR(&header); item != nullptr; item = CMSG_NXTHDR(&header, item))
      if (item->cmsg_level == SOL_CAN_J1939 && item->cmsg_type == SCM_J1939_DEST_ADDR) to = *CMSG_DATA(item);
    const std::uint32_t pgn = from.can_addr.j1939.pgn;
    const std::uint8_t sender = from.can_addr.j1939.addr;
    if (size > 8 && received_ != nullptr) {
      std::fprintf(received_, "from=%u to=%u pgn=%u size=%zd hex=%s\n", sender, to, pgn, size,
                   hex(data.data(), static_cast<std::size_t>(size)).c_str());
      std::fflush(received_);
    }
    if (pgn == kClaim && size == 8) take_claim(sender, {data.begin(), data.begin() + 8});
    if (pgn == kRequest && size >= 3 && answers)
      answer(data[0] | (static_cast<std::uint32_t>(data[1]) << 8U) |
                 (static_cast<std::uint32_t>(data[2]) << 16U),
             sender, to != kAll);
  }
}

void Party::take_claim(std::uint8_t from, const std::vector<std::uint8_t>& data) {
  std::uint64_t other = 0;
  for (unsigned i = 0; i < 8; ++i) other |= static_cast<std::uint64_t>(data[i]) << (8U * i);
  if (from != plan_.address || other == plan_.name || !has_address_) return;
  if (plan_.name < other) {
    claim();
  } else if ((plan_.name >> 63U) != 0 && plan_.address < 235) {
    ++plan_.address;
    claim();
  } else {
    leave();
  }
}

std::vector<std::uint8_t> Party::text_of(std::uint32_t pgn) const {
  const std::string& text = pgn == kSoftware ? plan_.software : pgn == kEcu ? plan_.ecu : plan_.product;
  std::vector<std::uint8_t> bytes;
  if (text.empty()) return bytes;
  if (pgn == kSoftware) {
    std::uint8_t fields = 0;
    for (const char letter : text) fields = static_cast<std::uint8_t>(fields + (letter == '*'));
    bytes.push_back(fields);
  }
  bytes.insert(bytes.end(), text.begin(), text.end());
  while (bytes.size() < 8) bytes.push_back(0xFF);
  return bytes;
}

std::vector<std::uint8_t> Party::fault_message() const {
  std::vector<std::uint8_t> bytes = {static_cast<std::uint8_t>(plan_.faults.empty() ? 0x00 : 0x04), 0xFF};
  for (const Fault& fault : plan_.faults) {
    bytes.push_back(static_cast<std::uint8_t>(fault.spn));
    bytes.push_back(static_cast<std::uint8_t>(fault.spn >> 8U));
    bytes.push_back(static_cast<std::uint8_t>(((fault.spn >> 16U) << 5U) | fault.fmi));
    bytes.push_back(static_cast<std::uint8_t>(fault.count & 0x7FU));
  }
  if (plan_.faults.empty()) bytes.insert(bytes.end(), 4, 0x00);
  while (bytes.size() < 8) bytes.push_back(0xFF);
  return bytes;
}

void Party::acknowledge(unsigned control, std::uint32_t pgn, std::uint8_t from) {
  send(kAcknowledgement, kAll,
       {static_cast<std::uint8_t>(control), 0xFF, 0xFF, 0xFF, from, static_cast<std::uint8_t>(pgn),
        static_cast<std::uint8_t>(pgn >> 8U), static_cast<std::uint8_t>(pgn >> 16U)});
}

void Party::answer(std::uint32_t pgn, std::uint8_t from, bool directed) {
  if (pgn == kClaim) {
    send(kClaim, kAll, name_bytes(plan_.name));
    return;
  }
  const bool is_text = pgn == kSoftware || pgn == kEcu || pgn == kProduct;
  const std::vector<std::uint8_t> data = pgn == kFaults ? fault_message()
                                         : is_text      ? text_of(pgn)
                                                        : std::vector<std::uint8_t>();
  if (directed && busy_left_ > 0) {
    --busy_left_;
    acknowledge(3, pgn, from);
  } else if (data.empty()) {
    if (directed) acknowledge(1, pgn, from);
  } else {
    send(pgn, directed && data.size() > 8 ? from : kAll, data);
  }
}

void Party::send_cyclic() {
  send(kCyclic, kAll, {counter_++, 0x01, 0x02, 0x03, 0xFF, 0xFF, 0xFF, 0xFF});
}

void Party::send_faults() {
  send(kFaults, kAll, fault_message());
}

std::string send_and_wait(const PartyPlan& plan, std::uint32_t pgn, std::uint8_t to,
                          const std::vector<std::uint8_t>& data) {
  const int fd = open_socket();
  const sockaddr_can own = socket_address(plan.interface, plan.name, J1939_NO_PGN, J1939_NO_ADDR);
  if (bind(fd, reinterpret_cast<const sockaddr*>(&own), sizeof own) != 0) give_up("bind as a controller");
  const int on = 1;
  const int stamps = SOF_TIMESTAMPING_SOFTWARE | SOF_TIMESTAMPING_OPT_CMSG | SOF_TIMESTAMPING_TX_ACK |
                     SOF_TIMESTAMPING_OPT_STATS | SOF_TIMESTAMPING_OPT_TSONLY;
  setsockopt(fd, SOL_CAN_J1939, SO_J1939_ERRQUEUE, &on, sizeof on);
  setsockopt(fd, SOL_SOCKET, SO_TIMESTAMPING, &stamps, sizeof stamps);

  std::string problem;
  if (send_to(fd, plan.interface, pgn, to, data) != static_cast<ssize_t>(data.size()))
    problem = std::strerror(errno);
  bool done = false;
  while (problem.empty() && !done) {
    pollfd ready{fd, POLLERR, 0};
    if (poll(&ready, 1, 30'000) <= 0) problem = "no end within 30 s";
    char control[512];
    msghdr header{};
    header.msg_control = control;
    header.msg_controllen = sizeof control;
    while (problem.empty() && !done && recvmsg(fd, &header, MSG_ERRQUEUE | MSG_DONTWAIT) >= 0) {
      for (cmsghdr* item = CMSG_FIRSTHDR(&header); item != nullptr; item = CMSG_NXTHDR(&header, item)) {
        if (item->cmsg_level != SOL_CAN_J1939 || item->cmsg_type != SCM_J1939_ERRQUEUE) continue;
        sock_extended_err told{};
        std::memcpy(&told, CMSG_DATA(item), sizeof told);
        done = done || (told.ee_origin == SO_EE_ORIGIN_TIMESTAMPING && told.ee_info == SCM_TSTAMP_ACK);
        if (told.ee_origin == SO_EE_ORIGIN_LOCAL && told.ee_info == J1939_EE_INFO_TX_ABORT)
          problem = std::string("aborted: ") + std::strerror(static_cast<int>(told.ee_errno));
      }
      header.msg_controllen = sizeof control;
    }
  }
  close(fd);
  return problem;
}

}  // namespace live
