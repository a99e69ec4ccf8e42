// Several captures as one, in time order.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "io/bus_table.hpp"
#include "io/capture_file_reader.hpp"
#include "io/capture_probe.hpp"
#include "io/capture_reader.hpp"

namespace tramlog {

/// One open file of the merge. Its events keep the order they have in the file; where two files overlap, the
/// one whose next event is earlier goes first. An event is judged by the median of its own time and those of
/// its neighbours: one time stamp that was hit by a flipped bit neither holds its file back nor pushes it
/// forward. Two such events in a row far in the future hold the file back until the others have ended;
/// nothing is lost by that.
class MergeInput {
 public:
  MergeInput(std::size_t file, std::unique_ptr<CaptureFileReader> reader, TimeNs start)
      : file_(file), reader_(std::move(reader)), previous_(start) {}

  std::size_t file() const { return file_; }
  const CaptureFileReader& reader() const { return *reader_; }
  std::span<const Event> rest() const { return rest_; }
  bool has_held() const { return held_.has_value(); }

  /// What it has is used up, or (unless it is the only one) its last event cannot be judged without the next.
  bool needs_refill(bool lone) const;
  /// Events of the batch before become invalid, except the held one.
  void refill(std::uint64_t next_number);
  bool exhausted() const { return rest_.empty() && !held_; }

  TimeNs key() const;
  const Event& front() const { return held_ ? *held_ : rest_.front(); }
  void pop();
  /// All of rest() in one go; nothing may be held.
  std::span<const Event> take_all();
  TimeNs latest() const;
  /// Of the first packet of rest(), 0 if it has none.
  std::uint64_t first_number() const;

 private:
  void hold();

  std::size_t file_;
  std::unique_ptr<CaptureFileReader> reader_;
  std::span<const Event> rest_;
  TimeNs previous_;
  std::optional<Event> held_;
  std::optional<Notice> held_notice_;
  std::array<std::uint8_t, 64> held_data_{};
};

class CaptureMerge {
 public:
  /// Sorted by start.
  explicit CaptureMerge(std::vector<ProbedCapture> captures);

  /// The next events; empty at the end. Valid until the next call.
  std::span<const Event> read();
  const std::vector<CaptureFile>& files() const { return files_; }

 private:
  void open_next();
  void close(const MergeInput& input);
  bool refill_inputs();
  bool lone() const { return inputs_.size() <= 1 && opened_ == captures_.size(); }
  TimeNs next_start() const { return opened_ < captures_.size() ? captures_[opened_].start : kTimeLimit; }
  std::size_t earliest(TimeNs& next_best) const;
  bool can_pass_on(const MergeInput& input) const;
  std::span<const Event> pass_on(MergeInput& input);
  void merge();
  void put(Event event);

  std::vector<ProbedCapture> captures_;
  std::vector<CaptureFile> files_;
  std::size_t opened_ = 0;                           // of captures_, in their order
  std::vector<std::unique_ptr<MergeInput>> inputs_;  // events point into them
  BusTable buses_;
  std::uint64_t next_number_ = 1;
  TimeNs last_time_ = 0;
  std::vector<Event> out_;
  std::vector<std::unique_ptr<Notice>> notices_;  // that are in no file
  std::vector<bool> announced_;                   // by bus
};

}  // namespace tramlog
