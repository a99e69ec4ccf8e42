#include "can/wire_bits.hpp"

namespace tramlog {
namespace {

constexpr unsigned kCrcPolynomial = 0x4599;  // x^15 + x^14 + x^10 + x^8 + x^7 + x^4 + x^3 + 1
constexpr unsigned kCrcMask = 0x7FFF;
// CRC delimiter, ACK slot, ACK delimiter, 7 bits end of frame, 3 bits intermission: never stuffed.
constexpr unsigned kTailBits = 13;

// Stuffing state: value of the last bit and how many equal ones stand in a row, 1..4; the fifth at once brings the
// stuff bit, which starts a row of its own. Packed as (length - 1) * 2 + bit.
struct Step {
  std::uint8_t run;
  std::uint8_t stuffed;
};

constexpr Step step_bit(unsigned run, unsigned bit) {
  const unsigned length = run / 2 + 1;
  if ((run & 1) != bit) return {static_cast<std::uint8_t>(bit), 0};
  if (length < 4) return {static_cast<std::uint8_t>(length * 2 + bit), 0};
  return {static_cast<std::uint8_t>(1 - bit), 1};
}

constexpr Step step_bits(unsigned run, unsigned value, unsigned count) {
  unsigned stuffed = 0;
  for (unsigned i = count; i-- > 0;) {
    const Step step = step_bit(run, value >> i & 1);
    run = step.run;
    stuffed += step.stuffed;
  }
  return {static_cast<std::uint8_t>(run), static_cast<std::uint8_t>(stuffed)};
}

constexpr unsigned crc_bit(unsigned crc, unsigned bit) {
  const unsigned out = bit ^ (crc >> 14 & 1);
  crc = crc << 1 & kCrcMask;
  return out ? crc ^ kCrcPolynomial : crc;
}

// stuff8[run][byte], stuff7[run][7 bits]: new run in bits 0-2, stuff bits in bits 3-4.
// crc[k][byte]: what a byte contributes when k more bytes follow it.
struct Tables {
  std::uint8_t stuff8[8][256];
  std::uint8_t stuff7[8][128];
  std::uint16_t crc[8][256];
};

constexpr Tables make_tables() {
  Tables t{};
  for (unsigned run = 0; run < 8; ++run) {
    for (unsigned byte = 0; byte < 256; ++byte) {
      const Step step = step_bits(run, byte, 8);
      t.stuff8[run][byte] = static_cast<std::uint8_t>(step.run | step.stuffed << 3);
    }
    for (unsigned bits = 0; bits < 128; ++bits) {
      const Step step = step_bits(run, bits, 7);
      t.stuff7[run][bits] = static_cast<std::uint8_t>(step.run | step.stuffed << 3);
    }
  }
  for (unsigned byte = 0; byte < 256; ++byte) {
    unsigned crc = 0;
    for (unsigned bit = 8; bit-- > 0;) crc = crc_bit(crc, byte >> bit & 1);
    for (unsigned k = 0; k < 8; ++k) {
      t.crc[k][byte] = static_cast<std::uint16_t>(crc);
      for (unsigned bit = 0; bit < 8; ++bit) crc = crc_bit(crc, 0);
    }
  }
  return t;
}

constexpr Tables kTables = make_tables();

// The register's 15 bits act like data bits sent first: they are folded into the first two bytes.
unsigned crc_over(unsigned crc, const std::uint8_t* data, unsigned len) {
  if (len == 0) return crc;
  if (len == 1) {
    const unsigned index = data[0] ^ (crc >> 7);
    return (kTables.crc[0][index & 0xFF] ^ (crc << 8)) & kCrcMask;
  }
  const unsigned first = data[0] ^ (crc >> 7);
  const unsigned second = data[1] ^ (crc << 1 & 0xFF);
  unsigned out = kTables.crc[len - 1][first & 0xFF] ^ kTables.crc[len - 2][second];
  for (unsigned i = 2; i < len; ++i) out ^= kTables.crc[len - 1 - i][data[i]];
  return out;
}

}  // namespace

WireHeader wire_header(std::uint32_t id, bool extended, bool remote, unsigned dlc) {
  std::uint64_t bits = 0;
  unsigned count = 0;
  const auto put = [&](std::uint64_t value, unsigned width) {
    bits = bits << width | value;
    count += width;
  };
  put(0, 1);  // start of frame
  if (extended) {
    put(id >> 18 & 0x7FF, 11);
    put(0b11, 2);  // SRR, IDE
    put(id & 0x3FFFF, 18);
    put(remote ? 1 : 0, 1);
    put(0, 2);  // reserved r1, r0
  } else {
    put(id & 0x7FF, 11);
    put(remote ? 1 : 0, 1);
    put(0, 2);  // IDE, reserved r0
  }
  put(dlc & 0xF, 4);

  unsigned crc = 0;
  // Before the frame the bus was recessive for long: the start bit opens the first row.
  unsigned run = 0 * 2 + 0;
  unsigned total = 1;
  crc = crc_bit(crc, 0);
  for (unsigned i = count - 1; i-- > 0;) {
    const unsigned bit = static_cast<unsigned>(bits >> i & 1);
    crc = crc_bit(crc, bit);
    const Step step = step_bit(run, bit);
    run = step.run;
    total += 1 + step.stuffed;
  }
  return {static_cast<std::uint16_t>(crc), static_cast<std::uint8_t>(run), static_cast<std::uint8_t>(total)};
}

unsigned wire_bits(const WireHeader& header, const std::uint8_t* data, unsigned len) {
  unsigned run = header.run;
  unsigned stuffed = 0;
  for (unsigned i = 0; i < len; ++i) {
    const unsigned packed = kTables.stuff8[run][data[i]];
    run = packed & 7;
    stuffed += packed >> 3;
  }
  const unsigned crc = crc_over(header.crc, data, len);
  unsigned packed = kTables.stuff8[run][crc >> 7];
  stuffed += packed >> 3;
  packed = kTables.stuff7[packed & 7][crc & 0x7F];
  stuffed += packed >> 3;
  return header.bits + 8 * len + 15 + stuffed + kTailBits;
}

unsigned wire_bits(const Event& frame) {
  if (frame.flags & kFd) return 0;
  const bool remote = (frame.flags & kRemote) != 0;
  const WireHeader header = wire_header(frame.id, (frame.flags & kExtendedId) != 0, remote, frame.len);
  return wire_bits(header, frame.data, remote ? 0 : frame.len);
}

}  // namespace tramlog
