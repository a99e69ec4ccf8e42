// One packet of link type 227 becomes a frame (fact sheet 8.6).
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>

#include "base/bytes.hpp"
#include "can/can_id.hpp"
#include "can/event.hpp"
#include "io/pcapng_format.hpp"

namespace tramlog::socketcan {

inline constexpr std::uint32_t kHeaderBytes = 8;
inline constexpr std::uint32_t kClassicPayload = 8;
inline constexpr std::uint32_t kFdPayload = 64;
inline constexpr std::uint32_t kFdPacket = 72;
inline constexpr std::uint8_t kXlMark = 0x80;  // in octet 4
inline constexpr std::uint8_t kFdBrs = 0x01, kFdEsi = 0x02, kFdFormat = 0x04;
inline constexpr std::uint32_t kStandardIdMask = 0x7FF;

/// Stands in for the payload of a remote frame, of which the capture need not hold a byte.
inline constexpr std::array<std::uint8_t, kFdPayload> kNoPayload{};

/// Sets kind, id, len, data and flags (adding to those that are set). `stored` bytes are at `packet`,
/// `original` were there on the bus.
inline void decode(const std::uint8_t* packet, std::uint32_t stored, std::uint32_t original, Event& event) {
  event.data = packet;
  if (stored < kHeaderBytes || original < kHeaderBytes || (packet[4] & kXlMark) != 0) {
    event.kind = EventKind::foreign;
    event.id = 0;
    event.len = 0;
    return;
  }
  const std::uint32_t word = load_be32(packet);
  const std::uint32_t held = stored - kHeaderBytes;
  std::uint32_t len = packet[4];
  unsigned flags = event.flags;
  event.data = packet + kHeaderBytes;
  event.kind = EventKind::frame;

  if ((word & pcapng::kCanError) != 0) {
    event.kind = EventKind::error;
    event.id = word & kExtendedIdMask;
    event.len = static_cast<std::uint8_t>(std::min(held, kClassicPayload));
    if (event.len < kClassicPayload) flags |= kShortData;
    event.flags = static_cast<std::uint8_t>(flags);
    return;
  }
  const bool extended = (word & pcapng::kCanExtended) != 0;
  event.id = word & (extended ? kExtendedIdMask : kStandardIdMask);
  if (extended) flags |= kExtendedId;
  std::uint32_t most = kClassicPayload;
  if (original == kFdPacket || (packet[5] & kFdFormat) != 0) {
    most = kFdPayload;
    flags |= kFd;
    if ((packet[5] & kFdBrs) != 0) flags |= kBitRateSwitch;
    if ((packet[5] & kFdEsi) != 0) flags |= kErrorState;
  } else if ((word & pcapng::kCanRemote) != 0) {  // CAN FD knows no remote frames
    flags |= kRemote;
    len = std::min(len, kClassicPayload);
    if (held < len) event.data = kNoPayload.data();
    event.len = static_cast<std::uint8_t>(len);
    event.flags = static_cast<std::uint8_t>(flags);
    return;
  }
  const std::uint32_t readable = std::min(most, held);
  if (len > readable) {
    len = readable;
    flags |= kShortData;
  }
  event.len = static_cast<std::uint8_t>(len);
  event.flags = static_cast<std::uint8_t>(flags);
}

/// What any intact packet has in common; for guessing whether bytes are one.
inline bool plausible(const std::uint8_t* packet, std::uint32_t stored) {
  return stored >= kHeaderBytes &&
         ((packet[4] & kXlMark) != 0 || (packet[4] <= kFdPayload && packet[6] == 0));
}

}  // namespace tramlog::socketcan
