#include "live.hpp"

#include <linux/can/raw.h>
#include <net/if.h>
#include <sys/socket.h>

#include <algorithm>
#include <cerrno>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <cstring>

namespace live {

namespace {

volatile std::sig_atomic_t stopped = 0;

std::uint32_t check_of(std::uint32_t number) {
  return (number * 2654435761U) >> 8U;
}

}  // namespace

can_frame make_frame(std::uint32_t id29, std::initializer_list<int> bytes) {
  can_frame frame{};
  frame.can_id = id29 | CAN_EFF_FLAG;
  frame.len = static_cast<std::uint8_t>(bytes.size());
  std::transform(bytes.begin(), bytes.end(), frame.data,
                 [](int byte) { return static_cast<std::uint8_t>(byte); });
  return frame;
}

can_frame numbered_frame(std::uint32_t number, std::uint8_t address) {
  const std::uint32_t check = check_of(number);
  const auto byte = [](std::uint32_t word, unsigned shift) {
    return static_cast<int>((word >> shift) & 0xFFU);
  };
  return make_frame((6U << 26U) | (kTestPgn << 8U) | address,
                    {byte(number, 0), byte(number, 8), byte(number, 16), byte(number, 24), address,
                     byte(check, 0), byte(check, 8), byte(check, 16)});
}

std::optional<Number> number_of(std::uint32_t id, const std::uint8_t* data, std::size_t size) {
  if (((id >> 8U) & 0x3FFFFU) != kTestPgn || size != 8) return std::nullopt;
  Number found;
  for (unsigned i = 0; i < 4; ++i) found.number |= static_cast<std::uint32_t>(data[i]) << (8U * i);
  found.address = data[4];
  const std::uint32_t check =
      data[5] | (static_cast<std::uint32_t>(data[6]) << 8U) | (static_cast<std::uint32_t>(data[7]) << 16U);
  found.sound = check == check_of(found.number) && found.address == (id & 0xFFU);
  return found;
}

can_frame RandomFrames::next() {
  can_frame frame{};
  const std::uint64_t dice = random_();
  if (dice % 10 < 8)
    frame.can_id = (static_cast<std::uint32_t>(dice >> 32U) & CAN_EFF_MASK) | CAN_EFF_FLAG;
  else
    frame.can_id = static_cast<std::uint32_t>(dice >> 32U) & CAN_SFF_MASK;
  frame.len = static_cast<std::uint8_t>((dice >> 8U) % 9);
  const std::uint64_t bytes = random_();
  if ((dice >> 16U) % 20 == 0)
    frame.can_id |= CAN_RTR_FLAG;  // no data travels with it
  else
    std::memcpy(frame.data, &bytes, frame.len);
  return frame;
}

std::vector<std::uint8_t> random_bytes(std::uint64_t seed, std::size_t size) {
  std::mt19937_64 random(seed);
  std::vector<std::uint8_t> bytes(size);
  for (std::uint8_t& byte : bytes) byte = static_cast<std::uint8_t>(random());
  return bytes;
}

std::string hex(const std::uint8_t* data, std::size_t size) {
  static constexpr char kDigits[] = "0123456789abcdef";
  std::string text;
  text.reserve(2 * size);
  for (std::size_t i = 0; i < size; ++i) {
    text += kDigits[data[i] >> 4U];
    text += kDigits[data[i] & 0xFU];
  }
  return text;
}

void give_up(std::string_view what) {
  std::fprintf(stderr, "%.*s: %s\n", static_cast<int>(what.size()), what.data(), std::strerror(errno));
  std::exit(1);
}

unsigned interface_index(const std::string& interface) {
  const unsigned index = if_nametoindex(interface.c_str());
  if (index == 0) give_up(interface);
  return index;
}

int open_raw(const std::string& interface) {
  const int fd = socket(PF_CAN, SOCK_RAW | SOCK_CLOEXEC, CAN_RAW);
  if (fd < 0) give_up("raw CAN socket");
  sockaddr_can address{};
  address.can_family = AF_CAN;
  address.can_ifindex = static_cast<int>(interface_index(interface));
  if (bind(fd, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0)
    give_up("bind to " + interface);
  return fd;
}

void catch_stop_signals() {
  struct sigaction action {};
  action.sa_handler = [](int) { stopped = 1; };
  sigaction(SIGTERM, &action, nullptr);
  sigaction(SIGINT, &action, nullptr);
}

bool is_stopped() {
  return stopped != 0;
}

double seconds_since(Clock::time_point begin) {
  return std::chrono::duration<double>(Clock::now() - begin).count();
}

}  // namespace live
