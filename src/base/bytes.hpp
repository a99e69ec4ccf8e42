// Reading integers from bytes in a stated byte order. No bounds are checked here: the caller has looked.
#pragma once

#include <cstdint>
#include <cstring>
#include <span>

namespace tramlog {

using Bytes = std::span<const std::uint8_t>;

template <class T>
inline T load_native(const std::uint8_t* at) {
  T value;
  std::memcpy(&value, at, sizeof value);
  return value;
}

inline std::uint16_t swap_bytes(std::uint16_t v) { return __builtin_bswap16(v); }
inline std::uint32_t swap_bytes(std::uint32_t v) { return __builtin_bswap32(v); }
inline std::uint64_t swap_bytes(std::uint64_t v) { return __builtin_bswap64(v); }

template <class T>
inline T load_le(const std::uint8_t* at) {
  T value = load_native<T>(at);
  if constexpr (__BYTE_ORDER__ == __ORDER_BIG_ENDIAN__) value = swap_bytes(value);
  return value;
}

template <class T>
inline T load_be(const std::uint8_t* at) {
  T value = load_native<T>(at);
  if constexpr (__BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__) value = swap_bytes(value);
  return value;
}

inline std::uint16_t load_le16(const std::uint8_t* at) { return load_le<std::uint16_t>(at); }
inline std::uint32_t load_le32(const std::uint8_t* at) { return load_le<std::uint32_t>(at); }
inline std::uint64_t load_le64(const std::uint8_t* at) { return load_le<std::uint64_t>(at); }
inline std::uint32_t load_be32(const std::uint8_t* at) { return load_be<std::uint32_t>(at); }

/// A PGN or other 24-bit number, least significant byte first.
inline std::uint32_t load_le24(const std::uint8_t* at) {
  return std::uint32_t{at[0]} | std::uint32_t{at[1]} << 8 | std::uint32_t{at[2]} << 16;
}

}  // namespace tramlog
