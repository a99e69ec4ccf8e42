#include "parcel/private_fields.hpp"

#include <algorithm>
#include <string_view>

namespace tramlog {
namespace {

constexpr std::string_view kDevice = "DVC";
constexpr std::size_t kMaxTextBytes = 128;
constexpr std::size_t kNameBytes = 8, kLabelBytes = 7;

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

std::optional<std::size_t> cut_device(Bytes pool) {
  const std::string_view text(reinterpret_cast<const char*>(pool.data()), pool.size());
  // A text that is too long for the pool's end, not for any pool.
  const auto is_cut = [&](std::size_t at) {
    return at >= pool.size() || (pool[at] <= kMaxTextBytes && pool[at] >= pool.size() - at);
  };
  for (std::size_t at = text.find(kDevice); at != std::string_view::npos; at = text.find(kDevice, at + 1)) {
    const std::size_t designator = at + kDevice.size() + 2;
    if (is_cut(designator)) return std::min(designator, pool.size());
    const std::size_t version = behind_text(pool, designator);
    if (version == 0) continue;
    if (is_cut(version)) return std::min(version, pool.size());
    const std::size_t name = behind_text(pool, version);
    if (name == 0) continue;
    if (name + kNameBytes >= pool.size() || is_cut(name + kNameBytes)) return std::min(name, pool.size());
    const std::size_t label = behind_text(pool, name + kNameBytes);
    if (label != 0 && label + kLabelBytes > pool.size()) return label;
  }
  // Its letters may be cut, too.
  for (std::size_t letters = std::min(kDevice.size() - 1, text.size()); letters > 0; --letters)
    if (text.ends_with(kDevice.substr(0, letters))) return text.size();
  return std::nullopt;
}

std::size_t rest_of_object(Bytes pool) {
  const std::string_view text(reinterpret_cast<const char*>(pool.data()), pool.size());
  std::size_t first = text.size();
  for (const std::string_view object : {"DVC", "DET", "DPT", "DPD", "DVP"})
    first = std::min(first, text.find(object));
  return first;
}

}  // namespace tramlog
