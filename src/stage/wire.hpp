// How long a frame lies on the wire: plain bitwise CRC-15 and bit stuffing (fact sheet, network and
// diagnostics, 9.2).
#pragma once

#include <cstdint>

#include "base/bytes.hpp"

namespace tramlog::stage {

/// One frame as a node hands it to its CAN controller.
struct WireFrame {
  std::uint32_t id = 0;  // 29 or 11 bits
  bool extended = true;
  bool remote = false;
  bool fd = false;
  bool bit_rate_switch = false;  // FD only
  std::uint8_t len = 0;          // bytes; of a remote frame only the DLC
  std::uint8_t data[64] = {};
};

/// Bits between two frames.
inline constexpr unsigned kIntermissionBits = 3;
/// CRC delimiter, ACK slot, ACK delimiter and end of frame; never stuffed.
inline constexpr unsigned kTailBits = 10;

/// CRC-15 (polynomial 0x4599) of whole bytes, most significant bit first.
std::uint16_t crc15(Bytes bytes);

struct FrameLength {
  std::uint16_t crc = 0;
  unsigned stuffed_region_bits = 0;  // SOF .. CRC sequence, without stuff bits
  unsigned stuff_bits = 0;
  /// SOF to the last bit of end of frame.
  unsigned bits() const { return stuffed_region_bits + stuff_bits + kTailBits; }
};

/// Exact for classic frames of both identifier lengths. An FD frame is estimated at the arbitration bit rate
/// without stuffing; it appears only as a stranger.
FrameLength frame_length(const WireFrame& frame);

/// Who wins the wire: the frame with the lower key. Bits as sent: 11 identifier bits, RTR or SRR, IDE, 18
/// identifier bits, RTR.
std::uint32_t arbitration_key(const WireFrame& frame);

}  // namespace tramlog::stage
