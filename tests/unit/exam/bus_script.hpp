// Feeds an Examiner by hand: a bus of a few lines.
#pragma once

#include <algorithm>
#include <deque>
#include <string>
#include <vector>

#include "exam/examiner.hpp"
#include "isobus/acknowledgement.hpp"
#include "isobus/network.hpp"

namespace tramlog::test {

using Payload = std::vector<std::uint8_t>;

inline constexpr TimeNs kStart = 1'775'000'000 * kSecond;
inline constexpr std::uint64_t kNameA = 0xA0088000F3C10001, kNameB = 0xA0088500F3C10011,
                               kNameC = 0x20008600EDA1A2B3;

/// Collects events with times in seconds from the start, sorts them, numbers the frames, and examines them.
class BusScript {
 public:
  BusScript& frame(double at_s, std::uint32_t id, Payload payload = Payload(8, 0xFF), BusIndex bus = 0,
                   std::uint8_t flags = kExtendedId) {
    payloads_.push_back(std::move(payload));
    Event event;
    event.time = time(at_s);
    event.id = id;
    event.bus = bus;
    event.flags = flags;
    event.data = payloads_.back().data();
    event.len = static_cast<std::uint8_t>(payloads_.back().size());
    events_.push_back(event);
    return *this;
  }
  BusScript& claim(double at_s, Address address, std::uint64_t name, BusIndex bus = 0) {
    Payload payload;
    for (int i = 0; i < 8; ++i) payload.push_back(static_cast<std::uint8_t>(name >> (8 * i)));
    return frame(at_s, make_id(6, kPgnAddressClaimed, address), payload, bus);
  }
  BusScript& ask_for_claims(double at_s, Address to = kGlobalAddress) {
    return frame(at_s, make_id(6, kPgnRequest, kNullAddress, to), {0x00, 0xEE, 0x00});
  }
  /// Every `period_s` from `from_s` until before `to_s`; the payload counts, or stays the same.
  BusScript& cyclic(double from_s, double to_s, double period_s, std::uint32_t id, bool counts = false,
                    BusIndex bus = 0) {
    std::uint8_t count = 0;
    for (int i = 0; from_s + i * period_s < to_s; ++i)
      frame(from_s + i * period_s, id, Payload(8, counts ? count++ : 0x11), bus);
    return *this;
  }
  BusScript& notice(double at_s, Notice what, BusIndex bus = 0) {
    notices_.push_back(std::move(what));
    Event event;
    event.kind = EventKind::notice;
    event.time = time(at_s);
    event.bus = bus;
    event.notice = &notices_.back();
    events_.push_back(event);
    return *this;
  }
  /// Statistics each second whose counters follow the frames of the script; call it last.
  BusScript& statistics(double from_s, double to_s, BusIndex bus = 0) {
    for (double at = from_s; at <= to_s; at += 1) {
      std::uint64_t received = 0;
      for (const Event& event : events_)
        received += event.kind == EventKind::frame && event.bus == bus && event.time <= time(at);
      notice(at, Counters{received, 0, 0}, bus);
    }
    return *this;
  }
  BusScript& error(double at_s, std::uint32_t mask, std::uint8_t controller_bits) {
    frame(at_s, mask, {0, controller_bits, 0, 0, 0, 0, 0, 0}, 0, 0);
    events_.back().kind = EventKind::error;
    return *this;
  }

  Conclusions examine(std::size_t batch = 64, const std::optional<Roster>& roster = std::nullopt) {
    std::stable_sort(events_.begin(), events_.end(),
                     [](const Event& a, const Event& b) { return a.time < b.time; });
    std::uint64_t number = 0;
    for (Event& event : events_)
      if (event.kind != EventKind::notice) event.number = ++number;
    Examiner examiner;
    for (std::size_t i = 0; i < events_.size(); i += batch)
      examiner.take(std::span(events_).subspan(i, std::min(batch, events_.size() - i)));
    return examiner.conclude(roster);
  }

  static TimeNs time(double at_s) { return kStart + static_cast<SpanNs>(at_s * 1e9); }

 private:
  std::deque<Payload> payloads_;
  std::deque<Notice> notices_;
  std::vector<Event> events_;
};

inline double after_start_s(TimeNs time) {
  return to_seconds(time - kStart);
}

inline std::size_t count_faults(const Conclusions& all, const std::string& code) {
  return static_cast<std::size_t>(
      std::count_if(all.faults.begin(), all.faults.end(), [&](const Fault& f) { return f.code == code; }));
}

}  // namespace tramlog::test
