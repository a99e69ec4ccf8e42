// Somebody who follows the recording over a socket: gets the chunks as they come, never holds up the recorder.
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

namespace tramlog {

class SocketFollower {
 public:
  /// What waits for a slow reader at most; beyond, it is let go (its stream ends).
  static constexpr std::size_t kMostWaiting = 16 << 20;

  /// Owns the descriptor.
  explicit SocketFollower(int descriptor);
  ~SocketFollower();
  SocketFollower(const SocketFollower&) = delete;
  SocketFollower& operator=(const SocketFollower&) = delete;

  /// False if it has gone, or is too slow.
  bool take(const std::uint8_t* bytes, std::size_t size);

 private:
  bool drain();

  int descriptor_;
  std::vector<std::uint8_t> waiting_;
  std::size_t sent_ = 0;  // of waiting_
};

}  // namespace tramlog
