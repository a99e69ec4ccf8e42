#include "parcel/private_fields.hpp"

#include <algorithm>
#include <string_view>

namespace tramlog {
namespace {

constexpr std::string_view kDevice = "DVC";
constexpr std::size_t kMaxTextBytes = 128;

/// Behind a text of length byte and bytes; 0 if it cannot be one.
std::size_t behind_text(Bytes pool, std::size_t at) {
  if (at >= pool.size() || pool[at] > kMaxTextBytes || pool[at] >= pool.size() - at) return 0;
  return at + 1 + pool[at];
}

}  // namespace

void for_each_device(Bytes pool, const std::function<void(const DeviceFields&)>& use) {
  const auto* begin = reinterpret_cast<const char*>(pool.data());
  const std::string_view text(begin, pool.size());
  for (std::size_t at = text.find(kDevice); at != std::string_view::npos; at = text.find(kDevice, at + 1)) {
    // Letters, object id, designator, software version, NAME, serial, structure label.
    const std::size_t version = behind_text(pool, at + 5);
    const std::size_t name = version == 0 ? 0 : behind_text(pool, version);
    if (name == 0 || name + 8 >= pool.size()) continue;
    DeviceFields device;
    device.name_at = name;
    const std::size_t end = behind_text(pool, name + 8);
    if (end == 0) continue;
    device.serial_at = name + 9;
    device.serial_bytes = pool[name + 8];
    device.label_at = end;
    use(device);
  }
}

}  // namespace tramlog
