// May something be transmitted on a bus now? Kept up to date by the examiner's thread, asked by others.
#pragma once

#include <memory>
#include <mutex>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "wire/motion.hpp"

namespace tramlog {

class Standstill {
 public:
  struct Verdict {
    std::vector<std::string> reasons;  // not to transmit; empty: nothing speaks against it
    bool knows_speed = false;          // somebody tells the speed, and it is zero
  };

  void take(std::span<const Event> events);
  /// None if no bus of this name was heard of. With several buses the machine moves if any of them says so.
  std::optional<Verdict> reasons(const std::string& bus, TimeNs now);

 private:
  struct Bus {
    std::string name;
    std::unique_ptr<MotionGuard> guard;
  };
  std::mutex mutex_;
  std::vector<Bus> buses_;  // by bus number
};

}  // namespace tramlog
