// The part of a capture that is in memory. Parsers work in place on it; events point into it.
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>

#include "io/byte_source.hpp"

namespace tramlog {

class ByteWindow {
 public:
  static constexpr std::size_t kCapacity = 512 * 1024;
  static constexpr std::size_t kLargest = 40 * 1024 * 1024;
  /// This many bytes behind end() may be read; they mean nothing.
  static constexpr std::size_t kSlack = 128;

  /// What stands behind the bytes that are here.
  enum class Tail { open, gap, end };

  explicit ByteWindow(std::unique_ptr<ByteSource> source, std::size_t capacity = kCapacity);

  const std::uint8_t* at() const { return at_; }
  const std::uint8_t* end() const { return end_; }
  std::size_t available() const { return static_cast<std::size_t>(end_ - at_); }
  /// Of at() in the uncompressed file.
  std::uint64_t offset() const { return offset_; }
  Tail tail() const { return tail_; }
  const Gap& gap() const { return source_->gap(); }

  void advance(std::size_t bytes) {
    at_ += bytes;
    offset_ += bytes;
  }

  /// Reads until `want` bytes (at most kLargest) are available or the tail is no longer open. Pointers into
  /// the window end here. The space grows beyond the capacity only for a block that needs it, then doubly, so
  /// that a file that claims one huge block after the other costs no more than reading it twice.
  void refill(std::size_t want);

  /// Goes on behind a gap; what was before it must be consumed.
  void pass_gap();

 private:
  std::unique_ptr<ByteSource> source_;
  std::size_t capacity_;
  std::unique_ptr<std::uint8_t[]> space_;
  const std::uint8_t* at_;
  const std::uint8_t* end_;
  std::uint64_t offset_ = 0;
  Tail tail_ = Tail::open;
};

}  // namespace tramlog
