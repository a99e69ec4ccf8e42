// Finds the stream of a frame: one lookup in an open-addressing table, nothing allocated once a stream is
// known.
#pragma once

#include <deque>
#include <vector>

#include "exam/party.hpp"

namespace tramlog {

class StreamTable {
 public:
  static constexpr std::size_t kMaxStreams = 16384;  // on all buses; hostile identifiers beyond it only count

  StreamTable();

  /// Bus, EDP, DP, PF, PS and source: everything of the identifier but its priority.
  static std::uint32_t key_of(BusIndex bus, std::uint32_t id) {
    return static_cast<std::uint32_t>(bus) << 26 | (id & 0x03FFFFFF);
  }

  /// The stream, or null if it is new. Addresses stay valid.
  Stream* find(std::uint32_t key) const {
    for (std::size_t at = hash(key);; at = (at + 1) & mask_) {
      const Entry& entry = entries_[at];
      if (entry.stream == nullptr || entry.key == key) return entry.stream;
    }
  }

  /// Adds a stream; null when the cap is reached (counted).
  Stream* add(std::uint32_t key);

  const std::deque<Stream>& all() const { return streams_; }
  std::uint64_t refused() const { return refused_; }

 private:
  struct Entry {
    std::uint32_t key;
    Stream* stream;
  };
  std::size_t hash(std::uint32_t key) const { return (key * 0x9E3779B97F4A7C15ull) >> shift_; }
  void grow();

  std::vector<Entry> entries_;
  std::deque<Stream> streams_;
  std::size_t mask_ = 0;
  unsigned shift_ = 0;
  std::uint64_t refused_ = 0;
};

}  // namespace tramlog
