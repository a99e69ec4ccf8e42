// Error frames as SocketCAN tells them: the class mask in the identifier, details in the bytes (fact sheet, network and diagnostics, 8.3).
#pragma once

#include <cstdint>

namespace tramlog::error_frame {

// Bits of the class mask (Event::id of EventKind::error).
inline constexpr std::uint32_t kSendTimeout = 0x001, kArbitrationLost = 0x002, kController = 0x004, kProtocol = 0x008,
                               kTransceiver = 0x010, kNoAcknowledgement = 0x020, kBusOff = 0x040, kBusError = 0x080,
                               kRestarted = 0x100, kCounters = 0x200, kKnownClasses = 0x3FF;

// data[1], if the class has kController.
inline constexpr std::uint8_t kReceiveOverflow = 0x01, kActiveAgain = 0x40;

}  // namespace tramlog::error_frame
