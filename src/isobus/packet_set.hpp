// Which packets of a transfer were heard, in constant memory for any length.
#pragma once

#include <array>
#include <cstdint>

namespace tramlog {

/// Packets are numbered from 1. Everything below the first missing packet is known to be there; beyond it a
/// window of 512 packets is remembered, twice what one clear-to-send can cover. A hole that falls out of the
/// window is never forgiven: all() stays false.
class PacketSet {
 public:
  void reset(std::uint32_t total);

  /// True if packet `number` (1..total) was not heard before. A packet that fills a hole outside the window
  /// counts as heard before.
  bool add(std::uint32_t number);

  bool all() const { return first_missing_ > total_ && forgotten_ == 0; }
  /// A later packet was heard than the first missing one.
  bool has_gap() const { return forgotten_ > 0 || heard_ + 1 > first_missing_; }

 private:
  static constexpr std::uint32_t kWindow = 512;

  std::uint64_t& word(std::uint32_t number) { return bits_[number % kWindow / 64]; }
  static constexpr std::uint64_t mask(std::uint32_t number) { return std::uint64_t{1} << number % 64; }
  void make_room_for(std::uint32_t number);

  std::array<std::uint64_t, kWindow / 64> bits_{};  // packets first_missing_ .. first_missing_ + kWindow - 1
  std::uint32_t total_ = 0;
  std::uint32_t first_missing_ = 1;
  std::uint32_t heard_ = 0;      // different packets
  std::uint32_t forgotten_ = 0;  // missing packets that left the window
};

}  // namespace tramlog
