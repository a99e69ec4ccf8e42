#include "isobus/name.hpp"

#include <fmt/format.h>

namespace tramlog {

std::optional<Name> Name::from_hex(std::string_view text) {
  if (text.size() != 16) return std::nullopt;
  std::uint64_t raw = 0;
  for (const char c : text) {
    unsigned digit = 0;
    if (c >= '0' && c <= '9')
      digit = static_cast<unsigned>(c - '0');
    else if (c >= 'a' && c <= 'f')
      digit = static_cast<unsigned>(c - 'a') + 10;
    else if (c >= 'A' && c <= 'F')
      digit = static_cast<unsigned>(c - 'A') + 10;
    else
      return std::nullopt;
    raw = raw << 4 | digit;
  }
  return Name(raw);
}

std::string Name::hex() const {
  return fmt::format("{:016x}", raw_);
}

}  // namespace tramlog
