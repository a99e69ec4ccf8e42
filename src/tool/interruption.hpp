// Ctrl-C of a command that transmits: what was begun is taken back in good order.
#pragma once

#include <atomic>
#include <csignal>

namespace tramlog {

/// Raised by SIGINT and SIGTERM from its first call on.
inline std::atomic<bool>& interruption() {
  static std::atomic<bool> raised{false};
  static const bool installed = [] {
    const auto raise = [](int) { raised = true; };
    std::signal(SIGINT, raise);
    std::signal(SIGTERM, raise);
    return true;
  }();
  (void)installed;
  return raised;
}

}  // namespace tramlog
