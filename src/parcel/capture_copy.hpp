// Events into a capture file, in the order in which they come.
#pragma once

#include <map>
#include <span>
#include <string>
#include <vector>

#include "base/result.hpp"
#include "io/capture_writer.hpp"

namespace tramlog {

class CaptureCopy {
 public:
  static Result<CaptureCopy> create(const std::string& path);

  /// What a capture cannot hold (damage of another one, packets that are no CAN frames) is left out.
  void take(std::span<const Event> events);
  void take(const Event& event);
  std::uint64_t frames() const { return frames_; }
  /// The first error of any write.
  Result<std::uint64_t> finish() { return writer_.finish(); }

 private:
  explicit CaptureCopy(CaptureWriter writer) : writer_(std::move(writer)) {}
  BusIndex bus_of(const Event& event);

  CaptureWriter writer_;
  std::map<BusIndex, BusIndex> buses_;  // the source's number -> the file's
  std::map<BusIndex, std::uint64_t> lost_;
  std::uint64_t frames_ = 0;
};

}  // namespace tramlog
