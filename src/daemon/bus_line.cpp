#include "daemon/bus_line.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <numeric>
#include <utility>

#include "can/error_frame.hpp"

namespace tramlog {
namespace {

// A bus on which something is awake says something every second.
constexpr SpanNs kNoTraffic = 10 * kSecond;
// Somebody tries all the time and nobody understands it.
constexpr std::uint64_t kErrorsOfWrongBitRate = 10;
constexpr SpanNs kJustNow = 2 * kSecond;

RecorderNote interface_note(std::string text) {
  RecorderNote note;
  note.kind = RecorderNote::Kind::interface;
  note.of_bus = true;
  note.text = std::move(text);
  return note;
}

}  // namespace

void BusLine::opened(CanSocket new_socket, int index) {
  socket.emplace(std::move(new_socket));
  socket_index = index;
  dropped_ = 0;
}

void BusLine::stamp(HeardFrame& frame, const TimeKeeper& time) {
  frame.kernel_time = frame.kernel_time != 0 ? time.stamp(frame.kernel_time) : time.now();
  if (frame.hardware_time != 0) frame.kernel_time = hardware_.refine(frame.kernel_time, frame.hardware_time);
}

void BusLine::pass_on(const HeardFrame& frame, Scribe& scribe) {
  const std::uint32_t lost = frame.dropped - dropped_;
  dropped_ = frame.dropped;
  lost_system_ += lost;
  Event event;
  event.time = frame.kernel_time;
  event.bus = bus;
  event.kind = frame.kind;
  event.id = frame.id;
  event.len = frame.len;
  event.flags = frame.flags;
  event.data = frame.data.data();
  scribe.frame(event, lost);
  if (frame.kind == EventKind::error) {
    ++errors_;
    if (frame.id & error_frame::kBusOff) last_bus_off_ = frame.kernel_time;
    return;
  }
  ++frames_;
  last_frame_ = frame.kernel_time;
}

bool BusLine::take(const LinkInfo& link, Scribe& scribe, TimeNs now, const Tell& tell) {
  const LinkInfo before = std::exchange(link_, link);
  const bool first = !std::exchange(known_, true);
  bool changed = first;

  // The driver's counter goes on from where it is, and begins anew with the interface.
  if (first || link.index != before.index || link.interface_dropped < before.interface_dropped)
    interface_base_ = link.interface_dropped - lost_interface_;  // modulo 2^64
  if (link.removed)
    link_.interface_dropped = before.interface_dropped;
  else
    lost_interface_ = link.interface_dropped - interface_base_;

  const bool bus_off = link.state == CanState::bus_off;
  const bool bus_off_heard = last_bus_off_ && now - *last_bus_off_ <= kJustNow;
  // Bus-off is told by an error frame; only a driver that does not send one leaves it to the link.
  const LinkState state = !can_hear() || link.state == CanState::stopped || (bus_off && !bus_off_heard && told_ == LinkState::up &&
                                                                             before.state != CanState::bus_off)
                              ? LinkState::down
                              : (bus_off ? told_ : LinkState::up);
  if (state != told_ || first) {
    scribe.link(bus, now, state);
    told_ = state;
    changed = true;
    if (state == LinkState::up) hearing_since_ = now;
  }

  const auto told = [&](bool bad, const std::string& text) {
    changed = true;
    tell(bad, text);
    scribe.note(bus, now, interface_note(text));
  };
  if (link.removed && !before.removed) told(true, "was removed (unplugged, or its driver unloaded)");
  if (!first && before.removed && !link.removed) told(false, "is there again");
  if (!link.removed && !link.up && (first || before.up)) told(true, "is down: nothing can be heard until it is set up");
  if (!link.removed && link.up && !first && !before.up) told(false, "is up");
  if (!link.removed && link.bitrate && before.bitrate != link.bitrate) {
    if (!first && before.bitrate) told(false, fmt::format("bit rate is now {} bit/s, it was {}", *link.bitrate, *before.bitrate));
    scribe.bus(name, *link.bitrate);
  }
  if (!first && link.state && before.state && link.state != before.state)
    told(*link.state != CanState::error_active, fmt::format("its controller is {}{}", can_state_word(*link.state),
                                                            bus_off && link.restart_ms == 0u
                                                                ? "; without automatic restart it stays deaf until it is set down and up"
                                                                : ""));
  if (!first && link.listen_only && before.listen_only && link.listen_only != before.listen_only)
    told(false, *link.listen_only ? "listens only now" : "takes part in acknowledging now");
  return changed;
}

void BusLine::every_second(Scribe& scribe, TimeNs now, const Tell& tell) {
  if (known_ && !link_.removed) {
    Counters counters;
    counters.received = frames_ + errors_ + lost_system_;
    counters.interface_dropped = lost_interface_;
    counters.system_dropped = lost_system_;
    scribe.counters(bus, now, counters);
  }
  per_second_ = frames_ - std::exchange(frames_before_, frames_);
  second_ = (second_ + 1) % good_.size();
  good_[second_] = per_second_;
  bad_[second_] = errors_ - std::exchange(errors_before_, errors_);
  const auto sum = [](const auto& seconds) { return std::accumulate(seconds.begin(), seconds.end(), std::uint64_t{0}); };
  const bool only_errors = sum(good_) == 0 && sum(bad_) >= kErrorsOfWrongBitRate;
  if (only_errors && !only_errors_) {
    const std::string text = fmt::format("only errors arrive{}: wrong bit rate, or wires swapped or open",
                                         link_.bitrate ? fmt::format(" at {} bit/s", *link_.bitrate) : "");
    tell(true, text);
    scribe.note(bus, now, interface_note(text));
  }
  only_errors_ = only_errors;
  const TimeNs quiet_since = std::max(last_frame_.value_or(0), hearing_since_);
  const bool silent = can_hear() && !only_errors && now - quiet_since >= kNoTraffic;
  if (silent && !silent_told_) tell(true, fmt::format("no traffic for {}", format_span(now - quiet_since)));
  if (!silent && silent_told_ && per_second_ > 0) tell(false, "traffic again");
  if (silent || per_second_ > 0) silent_told_ = silent;
}

InterfaceStatus BusLine::status() const {
  InterfaceStatus status;
  status.name = name;
  status.kind = link_.kind;
  status.bitrate = link_.bitrate;
  if (link_.state) status.controller_state = can_state_word(*link_.state);
  status.listen_only = link_.listen_only;
  status.error_reporting = link_.error_reporting;
  status.transmit_errors = link_.transmit_errors;
  status.receive_errors = link_.receive_errors;
  status.frames = frames_;
  status.error_frames = errors_;
  status.lost_system = lost_system_;
  status.lost_interface = lost_interface_;
  status.frames_per_s = per_second_;
  status.last_frame = last_frame_;
  if (link_.removed) {
    status.state = "removed";
    status.detail = "adapter unplugged, or its driver unloaded";
  } else if (!link_.up) {
    status.state = "down";
    status.detail = "set it up with its bit rate (250000 bit/s on an implement bus), or let the configuration do it";
  } else if (!socket) {
    status.state = "cannot listen";
    status.detail = open_error;
  } else if (link_.state == CanState::bus_off) {
    status.state = "bus-off";
    status.detail = "wires shorted, or wrong bit rate while it takes part in the bus";
  } else if (only_errors_) {
    status.state = "only errors";
    status.detail = "wrong bit rate, or wires swapped or open";
  } else {
    status.can_hear = true;
    status.state = silent_told_ ? "no traffic" : last_frame_ ? "hearing" : "no frame yet";
    if (silent_told_) status.detail = "bus asleep (key off), or not connected";
  }
  return status;
}

}  // namespace tramlog
