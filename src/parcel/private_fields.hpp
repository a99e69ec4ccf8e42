// Places of private fields inside messages.
#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>

#include "base/bytes.hpp"

namespace tramlog {

/// Offsets of a DVC object's fields in its pool (ISO 11783-10; fact sheet, process data, 4.1).
struct DeviceFields {
  std::size_t name_at = 0;  // 8 bytes
  std::size_t serial_at = 0, serial_bytes = 0;
  std::size_t label_at = 0;  // 7 bytes, if the pool is not cut before their end
};

/// Every DVC of the pool whose NAME and serial are whole. A later one counts, too, wherever it stands.
void for_each_device(Bytes pool, const std::function<void(const DeviceFields&)>& use);

/// From where on a DVC is cut off by the pool's end: behind its object id, or at what is left of its fields
/// from the NAME on. None: there is none that is. The rest of it comes at the head of the next transfer.
std::optional<std::size_t> cut_device(Bytes pool);

/// Bytes before the first object that begins here: the rest of one that began in an earlier transfer.
std::size_t rest_of_object(Bytes pool);

inline void store_le32(std::uint8_t* at, std::uint32_t value) {
  for (unsigned i = 0; i < 4; ++i) at[i] = static_cast<std::uint8_t>(value >> (8 * i));
}
inline void store_le64(std::uint8_t* at, std::uint64_t value) {
  for (unsigned i = 0; i < 8; ++i) at[i] = static_cast<std::uint8_t>(value >> (8 * i));
}

}  // namespace tramlog
