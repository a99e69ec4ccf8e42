// A piece of the recording: whole pcapng blocks in the order that the Scribe decided, for all who want them.
#pragma once

#include <algorithm>
#include <chrono>
#include <condition_variable>
#include <cstdint>
#include <deque>
#include <memory>
#include <mutex>
#include <string>
#include <utility>
#include <vector>

#include "base/time.hpp"

namespace tramlog {

/// One file of the recording.
struct SegmentHead {
  std::uint32_t segment = 0;  // of the run, from 1
  std::string name;           // file name without folder
  TimeNs start = 0;
};

struct Chunk {
  std::shared_ptr<const SegmentHead> segment;
  bool begins_segment = false;  // its bytes begin with the section header
  bool starts_over = false;     // a follower of the whole recording must read what is on disk first: something before this was not recorded, or not told
  bool last = false;            // nothing comes after it
  bool recorded = true;         // false: there was no room for it in the writer's queue
  std::uint64_t events = 0;     // frames and error frames in it
  std::vector<std::uint8_t> bytes;
};
using ChunkPtr = std::shared_ptr<const Chunk>;

/// Between two threads; bounded in bytes.
class ChunkQueue {
 public:
  explicit ChunkQueue(std::size_t most_bytes) : most_(most_bytes) {}

  /// False if there is no room, or nobody takes anything yet: nothing was taken. The last chunk always finds room.
  bool push(ChunkPtr chunk) {
    const std::lock_guard lock(mutex_);
    if (!open_ && !chunk->last) return false;
    if (bytes_ + chunk->bytes.size() > most_ && !chunks_.empty() && !chunk->last) return false;
    bytes_ += chunk->bytes.size();
    chunks_.push_back(std::move(chunk));
    arrived_.notify_one();
    return true;
  }

  /// Waits until there is one or the time is over, or somebody called wake(); null then.
  ChunkPtr pop(std::chrono::milliseconds patience) {
    std::unique_lock lock(mutex_);
    arrived_.wait_for(lock, patience, [&] { return !chunks_.empty() || woken_; });
    woken_ = false;
    if (chunks_.empty()) return nullptr;
    ChunkPtr first = std::move(chunks_.front());
    chunks_.pop_front();
    bytes_ -= first->bytes.size();
    return first;
  }

  /// All that are there; waits as pop() does.
  std::deque<ChunkPtr> pop_all(std::chrono::milliseconds patience) {
    std::unique_lock lock(mutex_);
    arrived_.wait_for(lock, patience, [&] { return !chunks_.empty() || woken_; });
    woken_ = false;
    return std::exchange(chunks_, {});  // they count as waiting until done() says otherwise
  }
  /// So many bytes of what pop_all() gave are where they should be.
  void done(std::size_t bytes) {
    const std::lock_guard lock(mutex_);
    bytes_ -= std::min(bytes, bytes_);
  }

  void wake() {
    const std::lock_guard lock(mutex_);
    woken_ = true;
    arrived_.notify_one();
  }

  std::size_t bytes() const {
    const std::lock_guard lock(mutex_);
    return bytes_;
  }
  std::size_t most() const { return most_; }
  /// There is room for a good while.
  bool has_room() const {
    const std::lock_guard lock(mutex_);
    return open_ && bytes_ <= most_ / 2;
  }
  void set_open(bool open) {
    const std::lock_guard lock(mutex_);
    open_ = open;
  }

 private:
  mutable std::mutex mutex_;
  std::condition_variable arrived_;
  std::deque<ChunkPtr> chunks_;
  std::size_t bytes_ = 0;
  std::size_t most_;
  bool woken_ = false;
  bool open_ = true;
};

}  // namespace tramlog
