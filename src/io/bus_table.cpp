#include "io/bus_table.hpp"

namespace tramlog {

std::optional<BusTable::Place> BusTable::place(const BusInfo& bus) {
  const auto known = index_.find(bus.name);
  if (known != index_.end()) {
    std::uint64_t& bitrate = buses_[known->second].bitrate;
    const bool news = bus.bitrate != 0 && bus.bitrate != bitrate;
    if (news) bitrate = bus.bitrate;
    return Place{known->second, news};
  }
  if (buses_.size() >= kMostBuses) return std::nullopt;
  const auto index = static_cast<BusIndex>(buses_.size());
  index_.emplace(bus.name, index);
  buses_.push_back(bus);
  return Place{index, true};
}

}  // namespace tramlog
