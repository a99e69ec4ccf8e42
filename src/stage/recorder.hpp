// The logger at the bus: writes what it hears, and knows what it does not hear.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "io/capture_writer.hpp"
#include "stage/random.hpp"
#include "stage/scenario.hpp"
#include "stage/wire.hpp"

namespace tramlog::stage {

/// A time in which the logger itself heard nothing of a bus. Times as stamped.
struct BlindInterval {
  std::size_t bus = 0;
  std::string reason;  // "deaf", "stopped", "cut", "link-down", "link-paused", "bus-off", "bit-rate"
  TimeNs start = 0;
  TimeNs end = 0;  // of the capture if it never ended
  std::uint64_t frames_lost = 0;
  bool open = true;
};

class Recorder {
 public:
  /// Where a new run of the recorder writes: a file of its own. nullptr: there is none.
  using NextRun = std::function<CaptureWriter*()>;

  Recorder(CaptureWriter& writer, const Scenario& scenario, NextRun next_run = {});
  /// The run begins, with its note if the recorder writes notes.
  void begin(TimeNs now);

  /// What the logger's clock says at this moment of the scenario.
  TimeNs stamp(TimeNs now) const { return scenario_.start + now + step_; }
  /// A frame ended on the bus; true if it went into the capture.
  bool hear(std::size_t bus, TimeNs now, const WireFrame& frame);
  void error_frame(std::size_t bus, TimeNs now, std::uint32_t error_class,
                   const std::vector<std::uint8_t>& data);
  void statistics(std::size_t bus, TimeNs now);
  /// The logger's clock jumps by this much, forward or (negative) back.
  /// A recorder with notes keeps its pace and tells the step.
  void step_clock(TimeNs now, SpanNs step);
  /// The technician's words.
  void mark(TimeNs now, const std::string& text);
  /// What the recorder notes of its disk; `lost` frames and notices found no place then (0: none).
  void disk(TimeNs now, const std::string& text, std::uint64_t lost);

  enum class Ear { open, deaf_system, deaf_interface, link_down, link_paused, bus_off };
  void set_ear(std::size_t bus, TimeNs now, Ear ear);
  void set_stopped(TimeNs now, bool stopped);
  /// Its power is cut: nothing says that the run ends. Back with the next run.
  void set_cut(TimeNs now, bool cut);
  /// Its plug is out: no frame, no error, and the counters stand still.
  void set_unplugged(std::size_t bus, bool unplugged) { buses_[bus].unplugged = unplugged; }
  /// It listens at a wrong bit rate: of each frame only an error.
  void set_garbled(std::size_t bus, TimeNs now, bool garbled);
  /// The capture ends: closes open blind intervals.
  void end(TimeNs now);

  bool can_hear(std::size_t bus) const {
    const Line& line = buses_[bus];
    return !stopped_ && line.ear == Ear::open && !line.unplugged && !line.garbled;
  }
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
    bool unplugged = false, garbled = false;
    std::uint64_t received = 0, system_dropped = 0, interface_dropped = 0;
    std::uint64_t frames = 0;        // in the capture
    std::uint64_t lost_pending = 0;  // to be told with the next packet
  };
  void note(TimeNs stamp);
  void stop(TimeNs now, bool stopped, std::string_view reason);
  void tell(TimeNs now, RecorderNote note);
  void open_blind(std::size_t bus, TimeNs now, std::string reason);
  void close_blind(std::size_t bus, TimeNs now, bool stopped);
  void count_lost(std::size_t bus, bool stopped);

  CaptureWriter* writer_;
  NextRun next_run_;
  std::uint64_t run_ = 1;
  Random noise_;
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
