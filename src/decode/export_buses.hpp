// Names of the buses as they are announced.
#pragma once

#include <string>
#include <variant>
#include <vector>

#include "base/text.hpp"
#include "can/event.hpp"

namespace tramlog {

class BusNames {
 public:
  /// Any announcement; others than of a bus are passed over.
  void take(const Event& announcement) {
    if (announcement.notice == nullptr) return;
    if (const auto* info = std::get_if<BusInfo>(announcement.notice))
      place(announcement.bus) = printable_utf8(info->name);
  }
  /// Safe to write; empty for a bus that nobody announced.
  const std::string& of(BusIndex bus) { return place(bus); }

 private:
  std::string& place(BusIndex bus) {
    if (bus >= names_.size()) names_.resize(bus + std::size_t{1});
    return names_[bus];
  }
  std::vector<std::string> names_;
};

}  // namespace tramlog
