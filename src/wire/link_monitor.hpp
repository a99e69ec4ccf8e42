// The kernel's news of interfaces, and on request the state of all (rtnetlink; fact sheet 8.4).
#pragma once

#include <functional>
#include <vector>

#include "base/result.hpp"
#include "wire/link_info.hpp"

namespace tramlog {

class LinkMonitor {
 public:
  static Result<LinkMonitor> open();
  LinkMonitor(LinkMonitor&& other) noexcept : descriptor_(other.descriptor_) { other.descriptor_ = -1; }
  LinkMonitor& operator=(LinkMonitor&&) = delete;
  ~LinkMonitor();

  int descriptor() const { return descriptor_; }
  /// Asks for all interfaces; they come through read().
  void ask_all();
  struct News {
    std::vector<LinkInfo> links;
    bool dump_done = false;
    bool missed = false;  // news were lost: ask_all() again
  };
  /// What is waiting; does not wait.
  News read();

 private:
  explicit LinkMonitor(int descriptor) : descriptor_(descriptor) {}
  int descriptor_;
};

}  // namespace tramlog
