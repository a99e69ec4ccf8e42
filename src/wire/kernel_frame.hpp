// struct can_frame and canfd_frame as the kernel hands them out (fact sheet, network and diagnostics, 8.1).
#pragma once

#include <linux/can.h>

#include <cstddef>

#include "can/event.hpp"

namespace tramlog {

/// Kind, identifier, length and flags of `event` from a frame of `size` bytes and recvmsg's flags; data points into the frame. Frames
/// made on this machine (MSG_DONTROUTE) are kOutbound. False, and nothing set, if the size is that of no frame we read
/// (CAN XL).
bool read_kernel_frame(const canfd_frame& frame, std::size_t size, int message_flags, Event& event);

}  // namespace tramlog
