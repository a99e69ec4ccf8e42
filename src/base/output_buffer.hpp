// Collects output in one piece of memory and hands it on when it is full: nothing is allocated per line.
#pragma once

#include <cstring>
#include <functional>
#include <string_view>
#include <utility>
#include <vector>

namespace tramlog {

class OutputBuffer {
 public:
  static constexpr std::size_t kDefaultSize = 256 * 1024;

  /// `sink` gets the collected bytes; it keeps its own errors.
  explicit OutputBuffer(std::function<void(std::string_view)> sink, std::size_t size = kDefaultSize)
      : sink_(std::move(sink)), memory_(size) {}
  ~OutputBuffer() { flush(); }
  OutputBuffer(const OutputBuffer&) = delete;
  OutputBuffer& operator=(const OutputBuffer&) = delete;

  /// Room for `bytes` bytes; write there, then call commit() with the end of what was written.
  char* room(std::size_t bytes) {
    if (memory_.size() - used_ < bytes) {
      flush();
      if (memory_.size() < bytes) memory_.resize(bytes);
    }
    return memory_.data() + used_;
  }
  void commit(const char* end) { used_ = static_cast<std::size_t>(end - memory_.data()); }

  void append(std::string_view text) {
    char* at = room(text.size());
    std::memcpy(at, text.data(), text.size());
    commit(at + text.size());
  }
  void flush() {
    if (used_ > 0) sink_({memory_.data(), used_});
    used_ = 0;
  }

 private:
  std::function<void(std::string_view)> sink_;
  std::vector<char> memory_;
  std::size_t used_ = 0;
};

}  // namespace tramlog
