// Which transfers are under way (ISO 11783-3; fact sheet, network and diagnostics, 5.1, 5.2): whoever asks
// waits for them, and whoever leaves does not leave in the middle of one. Pure.
#pragma once

#include <cstdint>
#include <map>
#include <optional>

#include "can/can_id.hpp"
#include "can/event.hpp"

namespace tramlog {

class OpenTransfers {
 public:
  static constexpr std::size_t kMost = 1024;  // more at once are not followed

  /// Any frame of the bus, our own kernel's included.
  void hear(const Event& frame);

  /// One from `source` to `destination` (255: to all) is open.
  bool is_open(Address source, Address destination, TimeNs now) const;
  /// Any of or to this address.
  bool involves(Address address, TimeNs now) const;

 private:
  struct Key {
    Address source, destination;  // of the data
    bool extended;
    auto operator<=>(const Key&) const = default;
  };
  struct Entry {
    TimeNs latest = 0;
    std::uint32_t packets = 0;  // broadcast: of the whole message
  };
  static bool lives(const Key& key, const Entry& entry, TimeNs now);
  void control(const Event& frame, bool extended);
  void data(const Event& frame, bool extended);
  void forget_dead(TimeNs now);

  std::map<Key, Entry> entries_;
};

}  // namespace tramlog
