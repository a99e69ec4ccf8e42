// A small generator of our own, so that a seed gives the same traffic with every compiler and library.
#pragma once

#include <cmath>
#include <cstdint>
#include <string_view>

#include "base/time.hpp"

namespace tramlog::stage {

class Random {
 public:
  explicit Random(std::uint64_t seed = 0) : state_(seed) {}

  std::uint64_t next() {  // SplitMix64
    std::uint64_t z = (state_ += 0x9E3779B97F4A7C15u);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return z ^ (z >> 31);
  }
  /// 0 .. count - 1; 0 for count 0.
  std::uint64_t below(std::uint64_t count) { return count == 0 ? 0 : next() % count; }
  /// Both ends included.
  std::int64_t between(std::int64_t low, std::int64_t high) {
    return high <= low ? low
                       : low + static_cast<std::int64_t>(below(static_cast<std::uint64_t>(high - low) + 1));
  }
  /// Time until the next of events that come on average every `mean`.
  SpanNs waiting(SpanNs mean) {
    const double uniform = (static_cast<double>(next() >> 11) + 1.0) / 9007199254740993.0;
    return static_cast<SpanNs>(-std::log(uniform) * static_cast<double>(mean));
  }

 private:
  std::uint64_t state_;
};

/// A seed of its own for everything that has a name, so that one thing more does not change the rest.
inline std::uint64_t seed_for(std::uint64_t seed, std::string_view name, std::uint64_t number = 0) {
  std::uint64_t hash = 0xCBF29CE484222325u ^ seed;
  for (const char c : name) hash = (hash ^ static_cast<unsigned char>(c)) * 0x100000001B3u;
  Random mix(hash + number * 0x9E3779B97F4A7C15u);
  return mix.next();
}

}  // namespace tramlog::stage
