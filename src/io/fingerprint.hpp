// A number that tells one capture's packets from another's, whatever way they were read.
#pragma once

#include <array>
#include <bit>
#include <cstdint>
#include <string>

#include "base/bytes.hpp"
#include "can/event.hpp"

namespace tramlog {

/// Over time, identifier, flags, length and payload of every frame and error frame, in order. Not a
/// cryptographic sum: it finds mix-ups, no forgers. One multiplication of a frame depends on the frame before
/// it, so it costs about a nanosecond.
class Fingerprint {
 public:
  /// `event.data` must have min(len, 8) bytes rounded up to whole words of 8 readable.
  void add(const Event& event) {
    const std::uint64_t head = std::uint64_t{event.id} | std::uint64_t{event.flags} << 32 |
                               std::uint64_t{event.len} << 40 |
                               std::uint64_t{event.kind == EventKind::error} << 48;
    std::uint64_t mixed = fold(static_cast<std::uint64_t>(event.time) ^ kA, head ^ kB);
    if ((event.flags & kRemote) == 0) {
      const std::uint8_t* data = event.data;
      unsigned left = event.len;
      for (; left > 8; left -= 8, data += 8) mixed = fold(mixed ^ load_le64(data), kC);
      mixed ^= (load_le64(data) & kKeep[left]) * kC;
    }
    state_ = (std::rotl(state_, 29) ^ mixed) * kA;
    ++count_;
  }

  /// 16 lower-case hex digits.
  std::string text() const {
    std::uint64_t value = fold(state_ ^ kB, count_ ^ kC);
    value ^= value >> 32;
    std::string digits(16, '0');
    for (std::size_t i = digits.size(); i-- > 0; value >>= 4) digits[i] = "0123456789abcdef"[value & 15];
    return digits;
  }

 private:
  static constexpr std::uint64_t kA = 0x9E3779B97F4A7C15, kB = 0xC2B2AE3D27D4EB4F, kC = 0x165667B19E3779F9;
  static constexpr std::array<std::uint64_t, 9> kKeep = {0,
                                                         0xFF,
                                                         0xFFFF,
                                                         0xFFFFFF,
                                                         0xFFFFFFFF,
                                                         0xFFFFFFFFFF,
                                                         0xFFFFFFFFFFFF,
                                                         0xFFFFFFFFFFFFFF,
                                                         ~std::uint64_t{0}};

  /// Both halves of the product, folded.
  static std::uint64_t fold(std::uint64_t a, std::uint64_t b) {
    __extension__ using Wide = unsigned __int128;
    const Wide product = static_cast<Wide>(a) * b;
    return static_cast<std::uint64_t>(product) ^ static_cast<std::uint64_t>(product >> 64);
  }

  std::uint64_t state_ = 0;
  std::uint64_t count_ = 0;
};

}  // namespace tramlog
