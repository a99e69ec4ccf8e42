#include "io/pcapng_scan.hpp"

#include "io/pcapng_format.hpp"
#include "io/socketcan_packet.hpp"

namespace tramlog::pcapng {
namespace {

constexpr std::uint32_t kCustom = 0x00000BAD, kCustomNoCopy = 0x40000BAD;
constexpr std::uint32_t kHighestSought = 10;  // of the numbered types, secrets block
constexpr std::uint32_t kMostInterfacesSought = 256;
constexpr std::size_t kLongestLostInterface = 4096;

bool known_type(std::uint32_t type) {
  return (type >= 1 && type <= kHighestSought) || type == kSectionHeader || type == kCustom || type == kRecorderNote ||
         type == kCustomNoCopy;
}

bool body_agrees(const std::uint8_t* at, std::uint32_t type, std::size_t length, bool swapped) {
  const std::uint8_t* end = at + length - 4;
  switch (type) {
    case kSectionHeader:
      return length >= 28 && load32(at + 8, swapped) == kByteOrderMagic;
    case kInterfaceDescription:
      return length >= 20 && load16(at + 10, swapped) == 0 && options_hold(at + 16, end, swapped);
    case kEnhancedPacket: {
      if (length < 32 || load32(at + 8, swapped) >= kMostInterfacesSought) return false;
      const std::uint32_t stored = load32(at + 20, swapped);
      return stored <= length - 32 && options_hold(at + 28 + padded(stored), end, swapped);
    }
    case kObsoletePacket: {
      if (length < 32 || load16(at + 8, swapped) >= kMostInterfacesSought) return false;
      const std::uint32_t stored = load32(at + 20, swapped);
      return stored <= length - 32 && options_hold(at + 28 + padded(stored), end, swapped);
    }
    case kSimplePacket:
      return length >= 16;
    case kInterfaceStatistics:
      return length >= 24 && load32(at + 8, swapped) < kMostInterfacesSought &&
             options_hold(at + 20, end, swapped);
    case kRecorderNote:
      return length >= 28 && load32(at + 8, swapped) < 256 && options_hold(at + 24, end, swapped);
    default:
      return true;
  }
}

}  // namespace

bool options_hold(const std::uint8_t* at, const std::uint8_t* end, bool swapped) {
  while (end - at >= 4) {
    const std::uint16_t code = load16(at, swapped);
    const std::uint16_t length = load16(at + 2, swapped);
    if (code == kOptEnd) return length == 0;
    if (padded(length) > static_cast<std::size_t>(end - at - 4)) return false;
    at += 4 + padded(length);
  }
  return at == end;
}

std::size_t whole_options(const std::uint8_t* at, const std::uint8_t* end, bool swapped) {
  const std::uint8_t* const first = at;
  while (end - at >= 4) {
    const std::size_t length = padded(load16(at + 2, swapped));
    if (load16(at, swapped) == kOptEnd || length > static_cast<std::size_t>(end - at - 4)) break;
    at += 4 + length;
  }
  return static_cast<std::size_t>(at - first);
}

std::size_t plausible_block(const std::uint8_t* at, std::size_t available, bool swapped) {
  if (available < kShortestBlock) return 0;
  const std::uint32_t type = load32(at, swapped);
  if (!known_type(type)) return 0;
  const std::uint32_t length = load32(at + 4, swapped);
  if (length < kShortestBlock || length % 4 != 0 || length > kLongestSought || length > available) return 0;
  if (load32(at + length - 4, swapped) != length) return 0;
  return body_agrees(at, type, length, swapped) ? length : 0;
}

bool looks_like_packet(const std::uint8_t* block, std::size_t length, bool swapped, std::size_t interfaces) {
  if (length < 40 || load32(block + 8, swapped) >= interfaces) return false;
  const std::uint32_t stored = load32(block + 20, swapped);
  return stored <= length - 32 && stored <= load32(block + 24, swapped) &&
         socketcan::plausible(block + 28, stored) &&
         options_hold(block + 28 + padded(stored), block + length - 4, swapped);
}

bool looks_like_interface(const std::uint8_t* block, std::size_t length, bool swapped) {
  return length >= 20 && load16(block + 8, swapped) == kLinkTypeSocketCan &&
         load16(block + 10, swapped) == 0 && options_hold(block + 16, block + length - 4, swapped);
}

std::optional<FoundBlock> find_block(const std::uint8_t* at, std::size_t available, std::size_t first,
                                     std::size_t range, bool nothing_follows, std::optional<bool> order) {
  std::optional<FoundBlock> second_best;
  for (std::size_t i = first; i < range && i + kShortestBlock <= available; ++i) {
    const auto word = load_native<std::uint32_t>(at + i);
    if (word == 0) continue;  // quick over the zeros that a power loss leaves
    for (const bool swapped : {order.value_or(false), !order.value_or(false)}) {
      if (!known_type(swapped ? swap_bytes(word) : word)) continue;
      const std::size_t length = plausible_block(at + i, available - i, swapped);
      if (length == 0) continue;
      const FoundBlock found{i, swapped};
      if (order == swapped && i % 4 == 0) return found;
      const std::size_t next = i + length;
      if ((next == available && nothing_follows) || plausible_block(at + next, available - next, swapped) > 0)
        return found;
      if (!second_best) second_best = found;
    }
  }
  return second_best;
}

LostBlocks inspect_lost(const std::uint8_t* at, std::size_t bytes) {
  LostBlocks lost;
  for (std::size_t i = 0; i + 4 <= bytes; ++i) {
    const auto word = load_native<std::uint32_t>(at + i);
    if (word == 0) continue;
    if (word == kSectionHeader || word == kByteOrderMagic || swap_bytes(word) == kByteOrderMagic) {
      lost.section = true;
      lost.interfaces = 0;
      continue;
    }
    if (i + 20 > bytes) continue;
    for (const bool swapped : {false, true}) {
      // Two of three marks are enough: type, link type, lengths that agree.
      const bool type = load32(at + i, swapped) == kInterfaceDescription;
      const bool link =
          load16(at + i + 8, swapped) == kLinkTypeSocketCan && load16(at + i + 10, swapped) == 0;
      if (!type && !link) continue;
      const std::uint32_t length = load32(at + i + 4, swapped);
      const bool lengths = length >= 20 && length % 4 == 0 && length <= kLongestLostInterface &&
                           i + length <= bytes && load32(at + i + length - 4, swapped) == length;
      if (type + link + lengths < 2) continue;
      ++lost.interfaces;
      i += lengths ? length - 1 : 11;
      break;
    }
  }
  return lost;
}

}  // namespace tramlog::pcapng
