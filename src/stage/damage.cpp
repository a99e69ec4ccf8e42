#include "stage/damage.hpp"

#include <fmt/format.h>

#include <fstream>
#include <sstream>

namespace tramlog::stage {

Result<std::uint64_t> damage_file(const std::string& path, const std::vector<DamageSpec>& damage) {
  std::string bytes;
  {
    std::ifstream in(path, std::ios::binary);
    std::ostringstream text;
    text << in.rdbuf();
    if (!in) return Error{ErrorKind::environment, "cannot read the capture again", path, "check the disk"};
    bytes = text.str();
  }
  for (const DamageSpec& one : damage) {
    const auto size = static_cast<std::int64_t>(bytes.size());
    const std::int64_t at = one.at < 0 ? size + one.at : one.at;
    if (at < 0 || at >= size) {
      return Error{ErrorKind::usage,
                   fmt::format("damage at byte {} lies outside the capture of {} bytes", one.at, size), path,
                   "choose a smaller position"};
    }
    const auto from = static_cast<std::size_t>(at);
    const std::size_t count = std::min(one.bytes, bytes.size() - from);
    switch (one.how) {
      case DamageSpec::How::truncate:
        bytes.resize(from);
        break;
      case DamageSpec::How::flip:
        bytes[from] = static_cast<char>(bytes[from] ^ (1 << one.bit));
        break;
      case DamageSpec::How::zero:
        bytes.replace(from, count, count, '\0');
        break;
      case DamageSpec::How::insert:
        bytes.insert(from, one.bytes, '\x5A');
        break;
      case DamageSpec::How::remove:
        bytes.erase(from, count);
        break;
    }
  }
  std::ofstream out(path, std::ios::binary | std::ios::trunc);
  out << bytes;
  out.close();
  if (!out) return Error{ErrorKind::environment, "cannot write the damaged capture", path, "check the disk"};
  return static_cast<std::uint64_t>(bytes.size());
}

}  // namespace tramlog::stage
