// Writes bits into messages and scales values in its own way, bit by bit, so that a mistake of the reader
// cannot cancel itself out.
#pragma once

#include <cstdint>
#include <vector>

namespace tramlog::test {

using Payload = std::vector<std::uint8_t>;

/// Little-endian field: bit i of `raw` goes to bit number start + i.
inline void write_little(Payload& data, std::uint32_t start, unsigned length, std::uint64_t raw) {
  for (unsigned i = 0; i < length; ++i) {
    const std::uint32_t bit = start + i;
    const auto flag = static_cast<std::uint8_t>(1U << (bit % 8));
    if ((raw >> i & 1) != 0)
      data.at(bit / 8) |= flag;
    else
      data.at(bit / 8) &= static_cast<std::uint8_t>(~flag);
  }
}

/// Motorola field: its most significant bit goes to bit number start; the next ones to the lower bits of the
/// byte, and from bit 0 on to bit 7 of the next byte.
inline void write_big(Payload& data, std::uint32_t start, unsigned length, std::uint64_t raw) {
  std::uint32_t byte = start / 8;
  unsigned bit = start % 8;
  for (unsigned i = length; i-- > 0;) {
    const auto flag = static_cast<std::uint8_t>(1U << bit);
    if ((raw >> i & 1) != 0)
      data.at(byte) |= flag;
    else
      data.at(byte) &= static_cast<std::uint8_t>(~flag);
    if (bit == 0) {
      bit = 7;
      ++byte;
    } else {
      --bit;
    }
  }
}

}  // namespace tramlog::test
