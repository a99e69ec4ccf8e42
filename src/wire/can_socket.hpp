// One CAN interface, listened to (fact sheet, network and diagnostics, 8.1 to 8.3). Never sends.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "base/result.hpp"
#include "can/event.hpp"

namespace tramlog {

/// A frame or error frame as the kernel handed it over.
struct HeardFrame {
  TimeNs kernel_time = 0;    // CLOCK_REALTIME when the driver handed it in, ns since 1970
  TimeNs hardware_time = 0;  // in the controller's own clock, 0: not offered
  std::uint32_t dropped = 0; // frames this socket had lost since it was opened when this one was queued; wraps
  std::uint32_t id = 0;      // without flag bits
  EventKind kind = EventKind::frame;
  std::uint8_t flags = 0;    // FrameFlags
  std::uint8_t len = 0;
  std::array<std::uint8_t, 64> data{};
};

/// What one recvmmsg brought.
enum class Gulp : std::uint8_t {
  more,   // as many as fit: there may be more
  dry,    // nothing is waiting any more
  down,   // the interface went down; the socket hears again when it is up
  gone,   // the interface was removed: close the socket
  failed  // last_error() tells
};

class CanSocket {
 public:
  static constexpr std::size_t kMost = 256;  // frames of one gulp

  /// Binds to the interface with this kernel index; frames, error frames, CAN FD, time stamps, drop counter.
  /// `buffer_bytes` is asked for; the kernel may grant less (net.core.rmem_max), see buffer_granted().
  static Result<CanSocket> open(const std::string& interface, int index, int buffer_bytes);
  CanSocket(CanSocket&&) noexcept;
  CanSocket& operator=(CanSocket&&) noexcept;
  ~CanSocket();

  int descriptor() const;
  /// As the kernel accounts it: a frame costs some 700 to 1,000 bytes of it.
  int buffer_granted() const;
  /// Appends what is waiting, at most kMost.
  Gulp read(std::vector<HeardFrame>& into);
  int last_error() const;

 private:
  struct Impl;
  explicit CanSocket(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

}  // namespace tramlog
