// Bit rate and modes of a CAN interface, set over rtnetlink (fact sheet, network and diagnostics, 8.4). Needs
// the right to administer the network (CAP_NET_ADMIN).
//
//   auto change = set_link("can0", {.bitrate = 250000, .listen_only = true, .restart_ms = 100});
//   if (!change) ...; if (change->changed) note that the interface was down for a moment
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/bytes.hpp"
#include "base/result.hpp"
#include "wire/link_info.hpp"

namespace tramlog {

/// What is not given stays as it is.
struct LinkSettings {
  std::optional<std::uint32_t> bitrate;     // bit/s, 1..1,000,000
  std::optional<bool> listen_only;          // no acknowledgement, no error flags
  std::optional<std::uint32_t> restart_ms;  // after bus-off; 0: by hand only
  std::optional<bool> berr_reporting;       // an error frame for each bus error

  bool operator==(const LinkSettings&) const = default;
  bool empty() const { return !bitrate && !listen_only && !restart_ms && !berr_reporting; }
};

/// What of the wanted settings the interface does not have yet.
LinkSettings missing_settings(const LinkSettings& wanted, const LinkInfo& link);

/// RTM_NEWLINK that only brings the interface up or down.
std::vector<std::uint8_t> up_down_message(int index, bool up, std::uint32_t sequence);
/// RTM_NEWLINK with IFLA_LINKINFO of kind "can"; takes effect only while the interface is down.
std::vector<std::uint8_t> settings_message(int index, const LinkSettings& settings, std::uint32_t sequence);
/// RTM_GETLINK of one interface.
std::vector<std::uint8_t> get_link_message(int index, std::uint32_t sequence);

/// The kernel's answer to one request.
struct NetlinkReply {
  int error = 0;      // errno, 0: done
  std::string words;  // the driver's own, if it gave any
};
/// None if the messages hold no acknowledgement of this sequence number.
std::optional<NetlinkReply> parse_reply(Bytes messages, std::uint32_t sequence);

struct LinkSet {
  bool changed = false;  // the interface was taken down for it
};

/// Leaves the interface up. One that has all the settings already is not taken down. If something fails it is
/// brought up again as it was, if it was up. Errors: no such interface, not permitted, a virtual interface,
/// not supported by the driver.
Result<LinkSet> set_link(const std::string& interface, const LinkSettings& settings);

}  // namespace tramlog
