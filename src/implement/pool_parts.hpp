// A device descriptor object pool in parts that fit into notes of a capture: what a slice carries from before
// its begin.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "base/bytes.hpp"
#include "implement/known_pools.hpp"
#include "isobus/name.hpp"

namespace tramlog {

/// Each: B1-8 the client's NAME as in its claim, B9-12 bytes of the whole pool, B13-16 where this part begins
/// in it (little endian), then the part; together at most `most` bytes (more than 16).
std::vector<std::string> pool_parts(Name client, Bytes pool, std::size_t most);

/// What stands before the bytes of a part.
struct PoolPartHead {
  static constexpr std::size_t kBytes = 16;
  Name client;
  std::size_t whole = 0, from = 0;
};
std::optional<PoolPartHead> read_pool_part(Bytes part);

/// Puts them together again; parts of one client come in their order. Bounded.
class PoolParts {
 public:
  /// The client's NAME and its pool, once it is whole. Parts that do not fit to the ones before begin anew or
  /// are ignored.
  struct Whole {
    Name client;
    std::vector<std::uint8_t> bytes;
  };
  std::optional<Whole> take(Bytes part);

 private:
  static constexpr std::size_t kMostAtOnce = 8;
  std::map<std::uint64_t, std::vector<std::uint8_t>> begun_;  // by NAME
};

}  // namespace tramlog
