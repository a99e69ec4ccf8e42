#include "record/segment_writer.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <utility>

#include "record/durable.hpp"

namespace tramlog {
namespace {

using namespace std::chrono_literals;
using Clock = std::chrono::steady_clock;

constexpr auto kPatience = 100ms;   // between two looks at the queue, and so between two writes
constexpr auto kRetry = 500ms;      // when the disk takes nothing
constexpr std::size_t kLargestWrite = 1 << 20;
constexpr auto kStall = 2s;         // a write that takes longer is told

std::chrono::milliseconds since(Clock::time_point start) {
  return std::chrono::duration_cast<std::chrono::milliseconds>(Clock::now() - start);
}

bool is_full(int code) {
  return code == ENOSPC || code == EDQUOT;
}

}  // namespace

SegmentWriter::SegmentWriter(WriterOptions options, ChunkQueue& queue, WriterHooks hooks)
    : options_(std::move(options)), queue_(queue), hooks_(std::move(hooks)), thread_([this] { run(); }) {}

SegmentWriter::~SegmentWriter() {
  stop();
  if (thread_.joinable()) thread_.join();
}

void SegmentWriter::stop() {
  stopping_ = true;
  queue_.wake();
}

WriterStatus SegmentWriter::status() const {
  const std::lock_guard lock(mutex_);
  WriterStatus status = status_;
  status.waiting = queue_.bytes();
  return status;
}

std::vector<SegmentWriter::News> SegmentWriter::take_news() {
  const std::lock_guard lock(mutex_);
  return std::exchange(news_, {});
}

void SegmentWriter::run() {
  synced_at_ = Clock::now();
  std::vector<std::uint8_t> together;
  for (bool last = false; !last;) {
    const std::deque<ChunkPtr> chunks = queue_.pop_all(kPatience);
    if (chunks.empty() && stopping_) break;
    // What comes in small pieces goes out in larger ones.
    for (const ChunkPtr& chunk : chunks) {
      last = last || chunk->last;
      if (chunk->recorded && chunk->begins_segment) {
        put(together);
        begin_segment(*chunk);
      }
      if (chunk->recorded)
        together.insert(together.end(), chunk->bytes.begin(), chunk->bytes.end());
      else
        queue_.done(chunk->bytes.size());
      if (together.size() >= kLargestWrite) put(together);
    }
    put(together);
    if (dirty_ && (last || since(synced_at_) >= options_.sync_every)) sync();
    if (!last && !stopping_ && queue_.bytes() < queue_.most() / 4) std::this_thread::sleep_for(kPatience);
  }
  close_segment();
  finished_ = true;
}

void SegmentWriter::begin_segment(const Chunk& chunk) {
  close_segment();
  while (!open_segment(chunk) && !stopping_) wait_a_little();
}

/// Until the disk has taken it, or the recorder gives up.
void SegmentWriter::put(std::vector<std::uint8_t>& bytes) {
  const std::uint8_t* data = bytes.data();
  std::size_t size = bytes.size();
  while (size > 0) {
    if (discarding_) {
      queue_.done(size);
      break;
    }
    const std::uint64_t before = offset_;
    const bool written = descriptor_ >= 0 && write_out(data, size);
    const std::size_t done = static_cast<std::size_t>(offset_ - before);
    data += done;
    size -= done;
    queue_.done(done);
    if (written || stopping_) break;
    wait_a_little();
    if (descriptor_ < 0) reopen();
  }
  const std::lock_guard lock(mutex_);
  status_.segment_bytes = offset_;
  status_.written += bytes.size() - size;
  bytes.clear();
}

/// Somebody removed it; what it held is lost, and so is what would still go into it: the next segment begins within a second.
void SegmentWriter::file_is_gone() {
  discarding_ = true;
  new_segment_wish_ = true;
  const std::lock_guard lock(mutex_);
  status_.trouble.clear();
  news_.push_back({true, fmt::format("lost {}: somebody removed the file while it was written", status_.segment)});
}

/// The same file again, at the place where it was good; what a failed write left behind goes.
void SegmentWriter::reopen() {
  descriptor_ = ::open(path_.c_str(), O_WRONLY | O_CLOEXEC);
  if (descriptor_ < 0 && errno == ENOENT) return file_is_gone();
  if (descriptor_ >= 0 && (::ftruncate(descriptor_, static_cast<off_t>(offset_)) != 0 ||
                           ::lseek(descriptor_, static_cast<off_t>(offset_), SEEK_SET) < 0)) {
    ::close(descriptor_);
    descriptor_ = -1;
  }
}

bool SegmentWriter::open_segment(const Chunk& chunk) {
  path_ = options_.folder + "/" + chunk.segment->name;
  descriptor_ = ::open(path_.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0640);
  if (descriptor_ < 0) {
    const int code = errno;
    in_trouble(fmt::format("lets no new file be made ({})", std::strerror(code)));
    if (is_full(code) && hooks_.make_room) hooks_.make_room();
    return false;
  }
  offset_ = 0;
  sync_folder(options_.folder);
  latest_segment_ = chunk.segment->segment;
  discarding_ = false;
  if (hooks_.opened) hooks_.opened(path_, chunk.segment->start);
  const std::lock_guard lock(mutex_);
  status_.segment = chunk.segment->name;
  status_.segment_bytes = 0;
  return true;
}

bool SegmentWriter::write_out(const std::uint8_t* data, std::size_t size) {
  const auto start = Clock::now();
  bool failed = false;
  while (size > 0 && !failed) {
    const ssize_t done = ::write(descriptor_, data, size);
    if (done < 0 && errno == EINTR) continue;
    if (done < 0) {
      const int code = errno;
      failed = true;
      if (is_full(code)) {
        in_trouble(fmt::format("is full ({})", std::strerror(code)));
        // Removing old recordings is what the limits are for; if that helps it was no trouble.
        if (hooks_.make_room && hooks_.make_room()) failed = false;
      } else {
        in_trouble(fmt::format("takes no data ({})", std::strerror(code)));
        ::close(descriptor_);
        descriptor_ = -1;
      }
      continue;
    }
    dirty_ = true;
    offset_ += static_cast<std::uint64_t>(done);
    data += done;
    size -= static_cast<std::size_t>(done);
  }
  note_wait(since(start));
  if (failed) return false;
  out_of_trouble();
  return true;
}

/// Of one write or sync.
void SegmentWriter::note_wait(std::chrono::milliseconds took) {
  const std::lock_guard lock(mutex_);
  status_.longest_wait = std::max(status_.longest_wait, took);
  if (took >= kStall)
    news_.push_back({false, fmt::format("stalled for {:.1f} s; {} KiB wait in memory", static_cast<double>(took.count()) / 1000, queue_.bytes() / 1024)});
}

bool SegmentWriter::sync() {
  synced_at_ = Clock::now();
  if (descriptor_ < 0) return false;
  const int result = ::fdatasync(descriptor_);
  const int code = errno;
  const auto took = since(synced_at_);
  synced_at_ = Clock::now();
  note_wait(took);
  if (result != 0) {
    in_trouble(fmt::format("did not keep what was written within the last second ({})", std::strerror(code)));
    if (!is_full(code)) {
      ::close(descriptor_);
      descriptor_ = -1;
      new_segment_wish_ = true;
    }
    return false;
  }
  dirty_ = false;
  struct stat file {};
  if (!discarding_ && ::fstat(descriptor_, &file) == 0 && file.st_nlink == 0) file_is_gone();
  return true;
}

void SegmentWriter::close_segment() {
  if (descriptor_ < 0) return;
  if (dirty_) sync();
  if (descriptor_ >= 0) ::close(descriptor_);
  descriptor_ = -1;
  dirty_ = false;
  {
    const std::lock_guard lock(mutex_);
    status_.segment.clear();
  }
  if (hooks_.closed) hooks_.closed(path_);
}

void SegmentWriter::in_trouble(const std::string& what) {
  const std::lock_guard lock(mutex_);
  most_waiting_ = std::max(most_waiting_, queue_.bytes());
  if (!status_.trouble.empty()) return;
  status_.trouble = what;
  trouble_since_ = Clock::now();
  most_waiting_ = 0;
  news_.push_back({true, what});
}

void SegmentWriter::out_of_trouble() {
  const std::lock_guard lock(mutex_);
  if (status_.trouble.empty()) return;
  most_waiting_ = std::max(most_waiting_, queue_.bytes());
  status_.trouble.clear();
  news_.push_back({false, fmt::format("is well again after {:.1f} s; {} KiB had waited in memory",
                                      static_cast<double>(since(trouble_since_).count()) / 1000, most_waiting_ / 1024)});
}

void SegmentWriter::wait_a_little() {
  for (auto left = kRetry; left > 0ms && !stopping_; left -= 50ms) std::this_thread::sleep_for(50ms);
}

}  // namespace tramlog
