// One bus of the listener: its socket, its counts, what the kernel says of its interface, and what is to be told of it.
#pragma once

#include <array>
#include <functional>
#include <optional>
#include <string>

#include "daemon/listener.hpp"
#include "daemon/scribe.hpp"
#include "wire/can_socket.hpp"
#include "wire/hardware_clock.hpp"
#include "wire/link_info.hpp"

namespace tramlog {

class BusLine {
 public:
  using Tell = std::function<void(bool bad, const std::string& text)>;

  BusLine(std::string the_name, BusIndex the_bus) : name(std::move(the_name)), bus(the_bus) {}

  void opened(CanSocket new_socket, int index);

  /// Puts the recorder's time into `frame.kernel_time`.
  void stamp(HeardFrame& frame, const TimeKeeper& time);
  void pass_on(const HeardFrame& frame, Scribe& scribe);
  /// News of the interface; true if something changed that is worth knowing.
  bool take(const LinkInfo& link, Scribe& scribe, TimeNs now, const Tell& tell);
  /// Statistics into the capture, and what follows from the last seconds.
  void every_second(Scribe& scribe, TimeNs now, const Tell& tell);
  InterfaceStatus status() const;

  const std::string name;
  const BusIndex bus;
  std::optional<CanSocket> socket;
  int socket_index = 0;
  bool armed = false;           // somebody waits for frames
  bool settings_tried = false;
  std::string open_error;

 private:
  bool can_hear() const { return link_.up && !link_.removed; }

  LinkInfo link_;
  LinkState told_ = LinkState::up;
  bool known_ = false;
  HardwareClock hardware_;
  std::uint32_t dropped_ = 0;        // the socket's own count, wraps
  std::uint64_t lost_pending_ = 0;
  std::uint64_t frames_ = 0, errors_ = 0, lost_system_ = 0, lost_interface_ = 0;
  std::uint64_t interface_base_ = 0; // the driver's counter when it was first seen; it may begin anew
  std::optional<TimeNs> last_frame_, last_bus_off_;
  TimeNs hearing_since_ = 0;
  std::uint64_t frames_before_ = 0, errors_before_ = 0, per_second_ = 0;
  std::array<std::uint64_t, 5> good_{}, bad_{};  // of the last five seconds
  std::size_t second_ = 0;
  bool only_errors_ = false, silent_told_ = false;
};

}  // namespace tramlog
