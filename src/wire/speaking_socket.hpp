// One CAN interface that is spoken on as well as listened to (fact sheet, network and diagnostics, 8.1). For
// commands that the user gave; recording uses CanSocket, which cannot send.
#pragma once

#include <atomic>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>

#include "base/result.hpp"
#include "can/can_id.hpp"
#include "can/event.hpp"

namespace tramlog {

/// CLOCK_MONOTONIC, ns: the clock of everything in wire/ that sends.
TimeNs running_time();

/// What the kernel takes: struct can_frame (16 bytes) or canfd_frame (72). Returns the size, 0 for what is no
/// whole frame (errors, foreign packets, notices, short data).
std::size_t encode_frame(const Event& frame, std::uint8_t (&into)[72]);

/// Raised by a signal handler: everything that waits comes back soon after.
using StopFlag = std::atomic<bool>;

class SpeakingSocket {
 public:
  /// Frames, CAN FD and error frames are heard. The interface must exist, be a CAN interface and be up.
  static Result<SpeakingSocket> open(const std::string& interface);
  SpeakingSocket(SpeakingSocket&&) noexcept;
  SpeakingSocket& operator=(SpeakingSocket&&) noexcept;
  ~SpeakingSocket();

  const std::string& interface() const;
  int index() const;  // the kernel's number of the interface
  int descriptor() const;
  bool takes_fd() const;  // the interface is set up for CAN FD

  /// Hears nothing from now on; for those who only send.
  void close_ears();

  enum class Sent : std::uint8_t { yes, full, failed };
  /// Does not wait; `full`: no room now, try again in a millisecond. `failed`: last_error().
  Sent send(const std::uint8_t* frame, std::size_t size);
  /// Waits for room up to `patience`. The error says what the interface did instead.
  std::optional<Error> send_patiently(const Event& frame, SpanNs patience = 2 * kSecond);
  Error last_error() const;

  /// All that is waiting, each with its time on CLOCK_MONOTONIC. kOutbound: made on this machine. `echo`: it
  /// is a frame of this very socket that has been on the bus. Returns an error if the interface went away or
  /// down.
  std::optional<Error> read(const std::function<void(const Event&, bool echo)>& each);

 private:
  struct Impl;
  explicit SpeakingSocket(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

/// Waits until `until` (running_time) or until something can be read; false if `stop` is raised. At most two
/// descriptors, -1 for none.
bool wait_for(int first, int second, TimeNs until, const StopFlag* stop);

}  // namespace tramlog
