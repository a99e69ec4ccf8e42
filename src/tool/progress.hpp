// A line on the terminal for whoever waits longer than a second; nothing otherwise.
#pragma once

#include <fmt/format.h>
#include <unistd.h>

#include <chrono>
#include <cstdint>
#include <cstdio>

namespace tramlog {

class Progress {
 public:
  void add(std::size_t events) {
    events_ += events;
    if (!terminal_ || events_ - shown_events_ < 100'000) return;
    shown_events_ = events_;
    const auto now = std::chrono::steady_clock::now();
    if (now - shown_ < std::chrono::seconds(1)) return;
    shown_ = now;
    begun_ = true;
    fmt::print(stderr, "\r{} frames read ", events_);
    std::fflush(stderr);
  }
  ~Progress() {
    if (begun_) fmt::print(stderr, "\r{:40}\r", "");
  }

 private:
  bool terminal_ = ::isatty(STDERR_FILENO) == 1;
  bool begun_ = false;
  std::uint64_t events_ = 0;
  std::uint64_t shown_events_ = 0;
  std::chrono::steady_clock::time_point shown_ = std::chrono::steady_clock::now();
};

}  // namespace tramlog
