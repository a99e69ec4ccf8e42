// Error frames and notices about the capture as sentences for a technician.
#pragma once

#include <string>
#include <string_view>

#include "can/event.hpp"

namespace tramlog {

/// What a SocketCAN error frame says (fact sheet, network and diagnostics, 8.3): "the recorder's controller
/// is error passive (receive); error counters: transmit 0, receive 128". A clause without full stop; any
/// bytes may come. Meant for EventKind::error, whose `id` is the class mask and `data` the detail.
std::string error_frame_words(const Event& event);

/// What a notice says of the capture: statistics, link changes, losses, damage, a bus announced. `bus` is the
/// name of its bus, empty if there is only one: it is then not named. For EventKind::foreign what such a
/// packet is. A clause without full stop; empty for an event that is neither.
std::string notice_words(const Event& event, std::string_view bus);

}  // namespace tramlog
