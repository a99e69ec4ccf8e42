#include "isobus/packet_set.hpp"

#include <bit>

namespace tramlog {

void PacketSet::reset(std::uint32_t total) {
  *this = PacketSet{};
  total_ = total;
}

bool PacketSet::add(std::uint32_t number) {
  if (number < first_missing_ || number > total_) return false;
  make_room_for(number);
  if ((word(number) & mask(number)) != 0) return false;
  word(number) |= mask(number);
  ++heard_;
  while (first_missing_ <= total_ && (word(first_missing_) & mask(first_missing_)) != 0) {
    word(first_missing_) &= ~mask(first_missing_);
    ++first_missing_;
  }
  return true;
}

void PacketSet::make_room_for(std::uint32_t number) {
  if (number - first_missing_ < kWindow) return;
  const std::uint32_t start = number - kWindow + 1;  // of the window that ends with `number`
  if (start - first_missing_ >= kWindow) {
    // Nothing of the old window is left: no step through what may be millions of packets.
    std::uint32_t inside = 0;
    for (std::uint64_t& bits : bits_) {
      inside += static_cast<std::uint32_t>(std::popcount(bits));
      bits = 0;
    }
    forgotten_ += start - first_missing_ - inside;
    first_missing_ = start;
    return;
  }
  for (; first_missing_ < start; ++first_missing_) {
    if ((word(first_missing_) & mask(first_missing_)) == 0) ++forgotten_;
    word(first_missing_) &= ~mask(first_missing_);
  }
}

}  // namespace tramlog
