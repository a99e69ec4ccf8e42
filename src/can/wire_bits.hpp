// Exact length of a classic CAN frame on the wire, stuff bits included (fact sheet, network and diagnostics, 9.2).
#pragma once

#include <array>
#include <cstdint>

#include "can/event.hpp"

namespace tramlog {

/// Where the CRC and the bit stuffing stand after the bits before the data field. It depends on identifier, kind and
/// length code only, so a stream keeps it and each frame costs just its payload.
struct WireHeader {
  std::uint16_t crc = 0;      // CRC-15 register over the unstuffed header
  std::uint8_t run = 0;       // stuffing state, see wire_bits.cpp
  std::uint8_t bits = 0;      // header bits with the stuff bits so far
};

/// Header of a 29-bit (or, without `extended`, 11-bit) frame whose length code is `dlc` (0..15; 8 and more: 8 bytes).
WireHeader wire_header(std::uint32_t id, bool extended, bool remote, unsigned dlc);

/// Bits from start of frame to the end of the 3-bit intermission for `len` (0..8) payload bytes behind that header.
unsigned wire_bits(const WireHeader& header, const std::uint8_t* data, unsigned len);

/// The same for one event. CAN FD frames have two bit rates and other stuffing: 0 for those.
unsigned wire_bits(const Event& frame);

}  // namespace tramlog
