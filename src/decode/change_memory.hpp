// Remembers what each message said last, for the option that leaves repetitions out. Internal to the
// Interpreter.
#pragma once

#include <cstdint>
#include <unordered_map>

#include "base/bytes.hpp"

namespace tramlog {

/// A running hash of 64 bits; that two different contents give the same is not to be expected in the life of
/// a machine.
class ContentHash {
 public:
  void add(std::uint64_t word) {
    value_ = (value_ ^ word) * 0x9FB21C651E98DF25ull;
    value_ ^= value_ >> 29;
    value_ *= 0xD6E8FEB86659FD93ull;
    value_ ^= value_ >> 32;
  }
  void add(Bytes bytes) {
    std::size_t at = 0;
    for (; at + 8 <= bytes.size(); at += 8) add(load_le64(bytes.data() + at));
    std::uint64_t rest = bytes.size() << 56;
    for (unsigned shift = 0; at < bytes.size(); ++at, shift += 8) rest ^= std::uint64_t{bytes[at]} << shift;
    add(rest);
  }
  std::uint64_t value() const { return value_; }

 private:
  std::uint64_t value_ = 0x6A09E667F3BCC909ull;
};

class ChangeMemory {
 public:
  static constexpr std::size_t kMaxEntries = 262'144;

  /// True if `content` is not what was said last under this key. Beyond the cap new keys are always new.
  bool is_new(std::uint64_t key, std::uint64_t content) {
    const auto found = last_.find(key);
    if (found != last_.end()) {
      const bool fresh = found->second != content;
      found->second = content;
      return fresh;
    }
    if (last_.size() < kMaxEntries)
      last_.emplace(key, content);
    else
      ++beyond_cap_;
    return true;
  }
  std::uint64_t beyond_cap() const { return beyond_cap_; }

 private:
  std::unordered_map<std::uint64_t, std::uint64_t> last_;
  std::uint64_t beyond_cap_ = 0;
};

}  // namespace tramlog
