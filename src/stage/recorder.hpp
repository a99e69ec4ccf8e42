// The logger at the bus: writes what it hears, and knows what it does not hear.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "io/capture_writer.hpp"
#include "stage/scenario.hpp"
#include "stage/wire.hpp"

namespace tramlog::stage {

/// A time in which the logger itself heard nothing of a bus. Times as stamped.
struct BlindInterval {
  std::size_t bus = 0;
  std::string reason;  // "deaf", "stopped", "link-down", "link-paused", "bus-off"
  TimeNs start = 0;
  TimeNs end = 0;  // of the capture if it never ended
  std::uint64_t frames_lost = 0;
  bool open = true;
};

class Recorder {
 public:
  Recorder(CaptureWriter& writer, const Scenario& scenario);

  /// What the logger's clock says at this moment of the scenario.
  TimeNs stamp(TimeNs now) const { return scenario_.start + now + step_; }
  /// A frame ended on the bus; true if it went into the capture.
  bool hear(std::size_t bus, TimeNs now, const WireFrame& frame);
  void error_frame(std::size_t bus, TimeNs now, std::uint32_t error_class,
                   const std::vector<std::uint8_t>& data);
  void statistics(std::size_t bus, TimeNs now);
  /// The logger's clock jumps by this much, forward or (negative) back.
  void step_clock(SpanNs step) {
    step_ += step;
    clock_steps_.push_back(step);
  }

  enum class Ear { open, deaf_system, deaf_interface, link_down, link_paused, bus_off };
  void set_ear(std::size_t bus, TimeNs now, Ear ear);
  void set_stopped(TimeNs now, bool stopped);
  /// The capture ends: closes open blind intervals.
  void end(TimeNs now);

  bool can_hear(std::size_t bus) const { return !stopped_ && buses_[bus].ear == Ear::open; }
  std::uint64_t frames() const { return frames_; }
  std::uint64_t frames(std::size_t bus) const { return buses_[bus].frames; }
  std::uint64_t error_frames() const { return error_frames_; }
  TimeNs first() const { return first_; }
  TimeNs last() const { return last_; }
  const std::vector<BlindInterval>& blind() const { return blind_; }
  const std::vector<SpanNs>& clock_steps() const { return clock_steps_; }

 private:
  struct Line {
    Ear ear = Ear::open;
    std::uint64_t received = 0, system_dropped = 0, interface_dropped = 0;
    std::uint64_t frames = 0;        // in the capture
    std::uint64_t lost_pending = 0;  // to be told with the next packet
  };
  void note(TimeNs stamp);
  void open_blind(std::size_t bus, TimeNs now, std::string reason);
  void close_blind(std::size_t bus, TimeNs now, bool stopped);
  void count_lost(std::size_t bus, bool stopped);

  CaptureWriter& writer_;
  const Scenario& scenario_;
  std::vector<Line> buses_;
  std::vector<BlindInterval> blind_;
  std::uint64_t frames_ = 0, error_frames_ = 0;
  SpanNs step_ = 0;
  std::vector<SpanNs> clock_steps_;
  TimeNs first_ = 0, last_ = 0;
  bool any_ = false;
  bool stopped_ = false;
};

}  // namespace tramlog::stage
