// What the kernel tells of an interface over rtnetlink (fact sheet, network and diagnostics, 8.4).
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/bytes.hpp"

namespace tramlog {

/// State of the controller behind the interface (IFLA_CAN_STATE).
enum class CanState : std::uint32_t { error_active = 0, warning = 1, passive = 2, bus_off = 3, stopped = 4, sleeping = 5 };

struct LinkInfo {
  int index = 0;
  std::string name;
  std::string kind;  // "can", "vcan", ..; empty if not told
  bool is_can = false;
  bool removed = false;
  bool up = false;       // IFF_UP
  bool carrier = false;  // IFF_LOWER_UP: a driver drops it in bus-off
  std::optional<std::uint32_t> bitrate;  // bit/s; none: a virtual interface, or not set
  std::optional<CanState> state;
  std::optional<bool> listen_only, error_reporting;  // control modes
  std::optional<std::uint32_t> restart_ms;           // 0: stays deaf after bus-off
  std::optional<std::uint16_t> transmit_errors, receive_errors;  // error counters, if the driver tells them
  std::uint64_t received = 0, sent = 0;
  std::uint64_t receive_failures = 0;   // rx_errors
  std::uint64_t interface_dropped = 0;  // rx_dropped + rx_over_errors + rx_fifo_errors + rx_missed_errors
  std::uint64_t bus_offs = 0, restarts = 0;  // of the driver's statistics
};

/// All interfaces in one or more netlink messages; other messages, and attributes that run over their end, are left out.
/// `done` is set if the messages end a dump.
std::vector<LinkInfo> parse_links(Bytes messages, bool& done);

/// "error-active", "bus-off", ..
const char* can_state_word(CanState state);

}  // namespace tramlog
