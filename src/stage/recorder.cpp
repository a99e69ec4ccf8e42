#include "stage/recorder.hpp"

#include <algorithm>
#include <utility>

#include "stage/wiring.hpp"

namespace tramlog::stage {
namespace {

constexpr std::uint32_t kClassBusOff = 0x40;
constexpr std::uint32_t kClassRestarted = 0x100;
constexpr std::string_view kStopped = "stopped", kCut = "cut";
constexpr std::uint32_t kClassBusError = 0x88;

bool is_stop(const BlindInterval& interval) {
  return interval.reason == kStopped || interval.reason == kCut;
}

}  // namespace

Recorder::Recorder(CaptureWriter& writer, const Scenario& scenario, NextRun next_run)
    : writer_(&writer),
      next_run_(std::move(next_run)),
      run_(scenario.recorder.run),
      noise_(seed_for(scenario.seed, "recorder")),
      scenario_(scenario),
      buses_(scenario.buses.size()) {
  for (const BusSpec& bus : scenario.buses) writer_->add_bus({bus.name, bus.bitrate});
}

void Recorder::tell(TimeNs now, RecorderNote told) {
  if (stopped_) return;
  writer_->write_note(0, stamp(now), told);
  note(stamp(now));
}

void Recorder::begin(TimeNs now) {
  if (!scenario_.recorder.notes) return;
  RecorderNote begins;
  begins.kind = RecorderNote::Kind::run_begins;
  begins.number = run_;
  begins.boot = scenario_.recorder.boot + (run_ - scenario_.recorder.run);
  tell(now, std::move(begins));
}

void Recorder::mark(TimeNs now, const std::string& text) {
  RecorderNote words;
  words.kind = RecorderNote::Kind::mark;
  words.text = text;
  tell(now, std::move(words));
}

void Recorder::disk(TimeNs now, const std::string& text, std::uint64_t lost) {
  RecorderNote words;
  words.kind = RecorderNote::Kind::disk;
  words.text = text;
  tell(now, words);
  if (lost == 0) return;
  words.kind = RecorderNote::Kind::not_recorded;
  words.number = lost;
  tell(now, std::move(words));
}

void Recorder::step_clock(TimeNs now, SpanNs step) {
  if (scenario_.recorder.notes) {
    RecorderNote stepped;
    stepped.kind = RecorderNote::Kind::clock_stepped;
    stepped.span = step;
    return tell(now, std::move(stepped));
  }
  step_ += step;
  clock_steps_.push_back(step);
}

void Recorder::note(TimeNs stamp) {
  if (!any_) first_ = last_ = stamp;
  any_ = true;
  first_ = std::min(first_, stamp);
  last_ = std::max(last_, stamp);
}

bool Recorder::hear(std::size_t bus, TimeNs now, const WireFrame& frame) {
  Line& line = buses_[bus];
  if (stopped_) {
    count_lost(bus, true);
    return false;
  }
  if (line.unplugged) return false;
  if (line.garbled) {
    const WireError error = wire_error(static_cast<unsigned>(noise_.below(64)), frame.len, noise_.next());
    error_frame(bus, now, kClassBusError, {0, 0, error.type, error.place});
    return false;
  }
  if (line.ear != Ear::open) {
    count_lost(bus, false);
    if (line.ear == Ear::deaf_system) {
      ++line.received;
      ++line.system_dropped;
      ++line.lost_pending;
    } else if (line.ear == Ear::deaf_interface) {
      ++line.interface_dropped;
      ++line.lost_pending;
    }
    return false;
  }
  ++line.received;
  ++line.frames;
  ++frames_;
  Event event;
  event.time = stamp(now);
  event.bus = static_cast<BusIndex>(bus);
  event.id = frame.id;
  event.len = frame.len;
  event.data = frame.data;
  event.flags =
      static_cast<std::uint8_t>((frame.extended ? kExtendedId : 0) | (frame.remote ? kRemote : 0) |
                                (frame.fd ? kFd : 0) | (frame.bit_rate_switch ? kBitRateSwitch : 0));
  writer_->write_frame(event, line.lost_pending);
  line.lost_pending = 0;
  note(event.time);
  return true;
}

void Recorder::error_frame(std::size_t bus, TimeNs now, std::uint32_t error_class,
                           const std::vector<std::uint8_t>& data) {
  if (stopped_ || buses_[bus].unplugged) return;
  std::uint8_t bytes[8] = {};
  std::copy_n(data.begin(), std::min<std::size_t>(data.size(), 8), bytes);
  Event event;
  event.kind = EventKind::error;
  event.time = stamp(now);
  event.bus = static_cast<BusIndex>(bus);
  event.id = error_class;
  event.len = 8;
  event.data = bytes;
  writer_->write_frame(event, 0);
  ++error_frames_;
  note(event.time);
}

void Recorder::statistics(std::size_t bus, TimeNs now) {
  if (stopped_) return;
  const Line& line = buses_[bus];
  writer_->write_counters(static_cast<BusIndex>(bus), stamp(now),
                          {line.received, line.interface_dropped, line.system_dropped});
  note(stamp(now));
}

void Recorder::open_blind(std::size_t bus, TimeNs now, std::string reason) {
  blind_.push_back({bus, std::move(reason), stamp(now), stamp(now), 0, true});
}

void Recorder::close_blind(std::size_t bus, TimeNs now, bool stopped) {
  for (BlindInterval& interval : blind_) {
    if (!interval.open || interval.bus != bus || is_stop(interval) != stopped) continue;
    interval.open = false;
    interval.end = stamp(now);
  }
}

void Recorder::count_lost(std::size_t bus, bool stopped) {
  for (BlindInterval& interval : blind_) {
    if (interval.open && interval.bus == bus && is_stop(interval) == stopped) ++interval.frames_lost;
  }
}

void Recorder::set_ear(std::size_t bus, TimeNs now, Ear ear) {
  Line& line = buses_[bus];
  if (line.ear == ear) return;
  const auto leave = line.ear;
  close_blind(bus, now, false);
  line.ear = ear;
  const auto tell = [&](LinkState state) {
    if (stopped_) return;
    writer_->write_link(static_cast<BusIndex>(bus), stamp(now), state);
    note(stamp(now));
  };
  if (leave == Ear::bus_off) error_frame(bus, now, kClassRestarted, {});
  if (leave == Ear::link_down || leave == Ear::link_paused) tell(LinkState::up);
  switch (ear) {
    case Ear::open:
      break;
    case Ear::deaf_system:
    case Ear::deaf_interface:
      open_blind(bus, now, "deaf");
      break;
    case Ear::link_down:
      open_blind(bus, now, "link-down");
      tell(LinkState::down);
      break;
    case Ear::link_paused:
      open_blind(bus, now, "link-paused");
      tell(LinkState::paused);
      break;
    case Ear::bus_off:
      error_frame(bus, now, kClassBusOff, {});
      open_blind(bus, now, "bus-off");
      break;
  }
}

void Recorder::set_garbled(std::size_t bus, TimeNs now, bool garbled) {
  if (buses_[bus].garbled == garbled) return;
  buses_[bus].garbled = garbled;
  if (garbled) {
    open_blind(bus, now, "bit-rate");
  } else {
    close_blind(bus, now, false);
  }
}

void Recorder::set_stopped(TimeNs now, bool stopped) {
  stop(now, stopped, kStopped);
}

void Recorder::set_cut(TimeNs now, bool cut) {
  if (cut == stopped_) return;
  if (!cut) {
    ++run_;
    if (CaptureWriter* next = next_run_ ? next_run_() : nullptr) {
      writer_ = next;
      for (const BusSpec& bus : scenario_.buses) writer_->add_bus({bus.name, bus.bitrate});
    }
    for (Line& line : buses_)
      line.received = line.system_dropped = line.interface_dropped = line.lost_pending = 0;
  }
  stop(now, cut, kCut);
  if (!cut) begin(now);
}

void Recorder::stop(TimeNs now, bool stopped, std::string_view reason) {
  if (stopped == stopped_) return;
  stopped_ = stopped;
  for (std::size_t bus = 0; bus < buses_.size(); ++bus) {
    if (stopped) {
      open_blind(bus, now, std::string(reason));
    } else {
      close_blind(bus, now, true);
    }
  }
}

void Recorder::end(TimeNs now) {
  if (scenario_.recorder.notes && !stopped_) {  // a run that ends in good order says so
    for (std::size_t bus = 0; bus < buses_.size(); ++bus)
      writer_->write_link(static_cast<BusIndex>(bus), stamp(now), LinkState::paused);
    RecorderNote ends;
    ends.kind = RecorderNote::Kind::run_ends;
    ends.number = run_;
    tell(now, std::move(ends));
  }
  for (std::size_t bus = 0; bus < buses_.size(); ++bus) {
    close_blind(bus, now, false);
    close_blind(bus, now, true);
  }
}

}  // namespace tramlog::stage
