#include "implement/pool_parts.hpp"

#include <algorithm>

#include "isobus/device_pool.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kHead = PoolPartHead::kBytes;

void put(std::string& to, std::uint64_t value, unsigned bytes) {
  for (unsigned i = 0; i < bytes; ++i) to += static_cast<char>(value >> 8 * i);
}

}  // namespace

std::vector<std::string> pool_parts(Name client, Bytes pool, std::size_t most) {
  std::vector<std::string> parts;
  for (std::size_t from = 0; from < pool.size();) {
    const Bytes of = pool.subspan(from, std::min(pool.size() - from, most - kHead));
    std::string part;
    put(part, client.raw(), 8);
    put(part, pool.size(), 4);
    put(part, from, 4);
    part.append(reinterpret_cast<const char*>(of.data()), of.size());
    parts.push_back(std::move(part));
    from += of.size();
  }
  return parts;
}

std::optional<PoolPartHead> read_pool_part(Bytes part) {
  if (part.size() <= kHead) return std::nullopt;
  const PoolPartHead head{Name::from_claim(part.data()), load_le32(part.data() + 8),
                          load_le32(part.data() + 12)};
  if (head.whole > kMaxPoolBytes || head.from + (part.size() - kHead) > head.whole) return std::nullopt;
  return head;
}

std::optional<PoolParts::Whole> PoolParts::take(Bytes part) {
  const auto head = read_pool_part(part);
  if (!head) return std::nullopt;
  const auto [client, whole, from] = *head;
  if (from == 0) begun_.erase(client.raw());
  if (begun_.size() >= kMostAtOnce && begun_.count(client.raw()) == 0) return std::nullopt;
  std::vector<std::uint8_t>& bytes = begun_[client.raw()];
  if (bytes.size() != from) {
    begun_.erase(client.raw());
    return std::nullopt;
  }
  bytes.insert(bytes.end(), part.begin() + kHead, part.end());
  if (bytes.size() < whole) return std::nullopt;
  Whole made{client, std::move(bytes)};
  begun_.erase(client.raw());
  return made;
}

}  // namespace tramlog
