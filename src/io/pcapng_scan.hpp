// Finding pcapng blocks among bytes that may be anything.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/bytes.hpp"

namespace tramlog::pcapng {

/// A block that is longer is damaged.
inline constexpr std::uint32_t kLongestBlock = 16 * 1024 * 1024;
inline constexpr std::uint32_t kShortestBlock = 12;
/// A block that is looked for after damage is at most so long; a longer one is skipped on the way to the
/// next.
inline constexpr std::uint32_t kLongestSought = 64 * 1024;

inline std::uint16_t load16(const std::uint8_t* at, bool swapped) {
  const auto v = load_native<std::uint16_t>(at);
  return swapped ? swap_bytes(v) : v;
}
inline std::uint32_t load32(const std::uint8_t* at, bool swapped) {
  const auto v = load_native<std::uint32_t>(at);
  return swapped ? swap_bytes(v) : v;
}
inline std::uint64_t load64(const std::uint8_t* at, bool swapped) {
  const auto v = load_native<std::uint64_t>(at);
  return swapped ? swap_bytes(v) : v;
}

constexpr std::size_t padded(std::size_t bytes) {
  return (bytes + 3) & ~std::size_t{3};
}

/// Whether options fill these bytes from the first to the last, or to an end-of-options.
bool options_hold(const std::uint8_t* at, const std::uint8_t* end, bool swapped);

/// How many bytes of these the whole options take that come before one that runs over the end.
std::size_t whole_options(const std::uint8_t* at, const std::uint8_t* end, bool swapped);

/// Length of the block that seems to start at `at`, 0 if none does: a known type, a sane length and the same
/// length at its end, fields that agree with each other. `available` bytes are there.
std::size_t plausible_block(const std::uint8_t* at, std::size_t available, bool swapped);

/// Whether the body is an enhanced packet or an interface description whatever the type field says.
bool looks_like_packet(const std::uint8_t* block, std::size_t length, bool swapped, std::size_t interfaces);
bool looks_like_interface(const std::uint8_t* block, std::size_t length, bool swapped);

struct FoundBlock {
  std::size_t at = 0;
  bool swapped = false;
};

/// First block that starts at `first` or later, but below `range`. Tries every byte: lost or added bytes
/// shift all that follows. In step (multiples of 4 from `at`) and in the byte order `order` one block is
/// proof enough; out of step or in the other order, or if `order` is not known, another must follow it,
/// unless nothing better is found.
std::optional<FoundBlock> find_block(const std::uint8_t* at, std::size_t available, std::size_t first,
                                     std::size_t range, bool nothing_follows, std::optional<bool> order);

/// Interface descriptions that seem to be among these lost bytes, and whether a section header does.
struct LostBlocks {
  bool section = false;
  unsigned interfaces = 0;
};
LostBlocks inspect_lost(const std::uint8_t* at, std::size_t bytes);

}  // namespace tramlog::pcapng
