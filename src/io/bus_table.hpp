// Which interface of which file is which bus.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <unordered_map>
#include <vector>

#include "can/event.hpp"

namespace tramlog {

/// Buses of one run by name: the same name in a later section or another file is the same bus, also when two
/// captures overlap in time.
class BusTable {
 public:
  /// More than a machine has; a hostile file must not grow the table without end.
  static constexpr std::size_t kMostBuses = 1024;
  static constexpr std::size_t kLongestName = 64;  // bytes; the rest is cut off

  struct Place {
    BusIndex index = 0;
    bool announce = false;  // not announced before, or now with another bitrate
  };

  /// Nothing if there are too many buses.
  std::optional<Place> place(const BusInfo& bus);
  std::size_t size() const { return buses_.size(); }
  const BusInfo& info(BusIndex index) const { return buses_[index]; }

 private:
  std::unordered_map<std::string, BusIndex> index_;
  std::vector<BusInfo> buses_;
};

}  // namespace tramlog
