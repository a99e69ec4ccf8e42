#include "stage/wire.hpp"

namespace tramlog::stage {
namespace {

constexpr std::uint16_t kPolynomial = 0x4599;
constexpr unsigned kRunBeforeStuffBit = 5;

std::uint16_t crc_step(std::uint16_t crc, unsigned bit) {
  const bool next = bit != ((crc >> 14) & 1u);
  crc = static_cast<std::uint16_t>((crc << 1) & 0x7FFF);
  return next ? static_cast<std::uint16_t>(crc ^ kPolynomial) : crc;
}

// Takes the bits of the stuffed region in order of sending.
class Stuffer {
 public:
  void put(unsigned bit) {
    crc_ = crc_step(crc_, bit);
    count(bit);
  }
  void put(std::uint32_t value, unsigned width) {
    for (unsigned i = width; i-- > 0;) put((value >> i) & 1u);
  }
  FrameLength end() {
    const std::uint16_t crc = crc_;
    for (unsigned i = 15; i-- > 0;) count((crc >> i) & 1u);
    return {crc, bits_, stuff_};
  }

 private:
  void count(unsigned bit) {
    ++bits_;
    run_ = bit == last_ ? run_ + 1 : 1;
    last_ = bit;
    if (run_ == kRunBeforeStuffBit) {
      ++stuff_;
      last_ = bit ^ 1u;  // the stuff bit begins the next run
      run_ = 1;
    }
  }

  std::uint16_t crc_ = 0;
  unsigned bits_ = 0;
  unsigned stuff_ = 0;
  unsigned run_ = 0;
  unsigned last_ = 2;
};

}  // namespace

std::uint16_t crc15(Bytes bytes) {
  std::uint16_t crc = 0;
  for (const std::uint8_t byte : bytes) {
    for (unsigned i = 8; i-- > 0;) crc = crc_step(crc, (byte >> i) & 1u);
  }
  return crc;
}

FrameLength frame_length(const WireFrame& frame) {
  if (frame.fd) return {0, 60u + 8u * frame.len + 21u, 0};
  Stuffer wire;
  wire.put(0u);  // SOF
  if (frame.extended) {
    wire.put(frame.id >> 18, 11);
    wire.put(3u, 2);  // SRR, IDE
    wire.put(frame.id & 0x3FFFF, 18);
    wire.put(frame.remote ? 1u : 0u);
    wire.put(0u, 2);  // r1, r0
  } else {
    wire.put(frame.id & 0x7FF, 11);
    wire.put(frame.remote ? 1u : 0u);
    wire.put(0u, 2);  // IDE, r0
  }
  wire.put(frame.len, 4);
  if (!frame.remote) {
    for (unsigned i = 0; i < frame.len && i < 8; ++i) wire.put(frame.data[i], 8);
  }
  return wire.end();
}

std::uint32_t arbitration_key(const WireFrame& frame) {
  const std::uint32_t rtr = frame.remote ? 1 : 0;
  if (!frame.extended) return (frame.id & 0x7FF) << 21 | rtr << 20;
  return (frame.id >> 18) << 21 | 3u << 19 | (frame.id & 0x3FFFF) << 1 | rtr;
}

}  // namespace tramlog::stage
