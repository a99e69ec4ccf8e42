// The thread that brings the recording to the disk: one segment after the other, synced within a second.
#pragma once

#include <atomic>
#include <cstdint>
#include <functional>
#include <memory>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include "record/chunk.hpp"

namespace tramlog {

struct WriterOptions {
  std::string folder;
  std::chrono::milliseconds sync_every{700};
};

/// What the writer asks of others; called from its thread.
struct WriterHooks {
  std::function<void(const std::string& path, TimeNs start)> opened;  // a segment was begun
  std::function<void(const std::string& path)> closed;                // it is whole and synced
  std::function<bool()> make_room;                                    // the disk is full: true if something was removed
};

struct WriterStatus {
  std::string segment;              // being written; empty: none
  std::uint64_t segment_bytes = 0;
  std::uint64_t written = 0;        // bytes in all
  std::uint64_t waiting = 0;        // bytes in memory
  std::string trouble;              // what is wrong with the disk now; empty: nothing
  std::chrono::milliseconds longest_wait{0};  // of one write or sync
};

class SegmentWriter {
 public:
  /// Trouble that the disk had, told when it begins and when it is over.
  struct News {
    bool begins = false;
    std::string text;  // "is full (No space left on device)", "is well again after 12.3 s; 310 KiB had waited in memory"
  };

  SegmentWriter(WriterOptions options, ChunkQueue& queue, WriterHooks hooks);
  /// As stop(), and waits for the thread.
  ~SegmentWriter();
  SegmentWriter(const SegmentWriter&) = delete;
  SegmentWriter& operator=(const SegmentWriter&) = delete;

  WriterStatus status() const;
  std::vector<News> take_news();
  /// Something that was handed over is not on the disk: the scribe should begin another segment, the examiner anew. Cleared by asking.
  bool take_new_segment_wish() { return new_segment_wish_.exchange(false); }
  /// The last chunk was written and synced.
  bool finished() const { return finished_.load(); }
  /// The segment that was begun last; those before it are whole.
  std::uint32_t latest_segment() const { return latest_segment_.load(); }
  /// Gives up: what the disk does not take now is lost.
  void stop();

 private:
  void run();
  void begin_segment(const Chunk& chunk);
  void put(std::vector<std::uint8_t>& bytes);
  void reopen();
  void file_is_gone();
  bool open_segment(const Chunk& chunk);
  /// False: try again, from offset_ on.
  bool write_out(const std::uint8_t* data, std::size_t size);
  void note_wait(std::chrono::milliseconds took);
  bool sync();
  void close_segment();
  void in_trouble(const std::string& what);
  void out_of_trouble();
  void wait_a_little();

  WriterOptions options_;
  ChunkQueue& queue_;
  WriterHooks hooks_;
  int descriptor_ = -1;
  std::string path_;
  std::uint64_t offset_ = 0;  // of the good bytes in the present file
  bool dirty_ = false;
  std::chrono::steady_clock::time_point synced_at_{};
  std::chrono::steady_clock::time_point trouble_since_{};
  std::size_t most_waiting_ = 0;
  mutable std::mutex mutex_;
  WriterStatus status_;
  std::vector<News> news_;
  std::atomic<bool> new_segment_wish_{false}, finished_{false}, stopping_{false};
  std::atomic<std::uint32_t> latest_segment_{0};
  bool discarding_ = false;  // the file is gone: until the next segment
  std::thread thread_;
};

}  // namespace tramlog
