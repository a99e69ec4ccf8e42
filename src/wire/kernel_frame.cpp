#include "wire/kernel_frame.hpp"

#include <linux/can/error.h>
#include <sys/socket.h>

#include <algorithm>

namespace tramlog {

bool read_kernel_frame(const canfd_frame& frame, std::size_t size, int message_flags, Event& event) {
  if (size != CAN_MTU && size != CANFD_MTU) return false;
  event.data = frame.data;
  if (frame.can_id & CAN_ERR_FLAG) {
    event.kind = EventKind::error;
    event.id = frame.can_id & CAN_ERR_MASK;
    event.len = CAN_ERR_DLC;
    return true;
  }
  const bool extended = frame.can_id & CAN_EFF_FLAG;
  event.kind = EventKind::frame;
  event.id = frame.can_id & (extended ? CAN_EFF_MASK : CAN_SFF_MASK);
  event.len = std::min<std::uint8_t>(frame.len, size == CANFD_MTU ? CANFD_MAX_DLEN : CAN_MAX_DLEN);
  unsigned flags = extended ? kExtendedId : 0;
  if (frame.can_id & CAN_RTR_FLAG) flags |= kRemote;
  if (size == CANFD_MTU) {
    flags |= kFd;
    if (frame.flags & CANFD_BRS) flags |= kBitRateSwitch;
    if (frame.flags & CANFD_ESI) flags |= kErrorState;
  }
  if (message_flags & MSG_DONTROUTE) flags |= kOutbound;
  event.flags = static_cast<std::uint8_t>(flags);
  return true;
}

}  // namespace tramlog
