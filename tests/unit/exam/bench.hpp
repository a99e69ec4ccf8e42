// A bus made by hand: collects frames and notices in any order, sorts them by time and feeds an Examiner.
#pragma once

#include <algorithm>
#include <catch2/catch.hpp>
#include <deque>
#include <string>
#include <vector>

#include "exam/examiner.hpp"
#include "isobus/name.hpp"

namespace tramlog {

class ExamBench {
 public:
  using Payload = std::vector<std::uint8_t>;
  static constexpr TimeNs kStart = 1'775'542'320 * kSecond;

  static Name unit(unsigned identity, unsigned device_class = 4, unsigned function = 128,
                   unsigned instance = 0) {
    return Name(1ull << 63 | 2ull << 60 | std::uint64_t{device_class} << 49 | std::uint64_t{function} << 40 |
                std::uint64_t{instance} << 35 | 1000ull << 21 | identity);
  }
  static TimeNs at(double seconds) { return kStart + static_cast<SpanNs>(seconds * 1e9); }

  void frame(double seconds, std::uint32_t id, Payload payload, BusIndex bus = 0,
             std::uint8_t flags = kExtendedId) {
    Item item;
    item.event.time = at(seconds);
    item.event.id = id;
    item.event.bus = bus;
    item.event.flags = flags;
    item.payload = std::move(payload);
    items_.push_back(std::move(item));
  }
  void error(double seconds, std::uint32_t mask, Payload payload = Payload(8), BusIndex bus = 0) {
    frame(seconds, mask, std::move(payload), bus, 0);
    items_.back().event.kind = EventKind::error;
  }
  /// A packet that is no CAN frame.
  void foreign(double seconds, BusIndex bus = 0) {
    frame(seconds, 0, {}, bus, 0);
    items_.back().event.kind = EventKind::foreign;
  }
  void notice(double seconds, Notice notice, BusIndex bus = 0) {
    Item item;
    item.event.time = at(seconds);
    item.event.kind = EventKind::notice;
    item.event.bus = bus;
    item.notice = std::move(notice);
    items_.push_back(std::move(item));
  }
  /// A steady message: `from` included, `to` not.
  void every(double period, double from, double to, Pgn pgn, Address source,
             Payload payload = Payload(8, 0x5A), BusIndex bus = 0) {
    for (int i = 0; from + i * period < to; ++i)
      frame(from + i * period, make_id(6, pgn, source), payload, bus);
  }
  /// A controller's own steady message, every 100 ms.
  void talks(double from, double to, Address source, BusIndex bus = 0) {
    every(0.1, from + 0.0005 * source, to, 0xFF00u + source, source, Payload(8, 0x5A), bus);
  }
  void claim(double seconds, Name name, Address address, BusIndex bus = 0) {
    Payload bytes;
    for (unsigned i = 0; i < 8; ++i) bytes.push_back(static_cast<std::uint8_t>(name.raw() >> 8 * i));
    frame(seconds, make_id(6, kPgnAddressClaimed, address, kGlobalAddress), std::move(bytes), bus);
  }
  void ask(double seconds, Pgn pgn, Address source, Address destination = kGlobalAddress) {
    frame(seconds, make_id(6, 0xEA00, source, destination),
          {static_cast<std::uint8_t>(pgn), static_cast<std::uint8_t>(pgn >> 8),
           static_cast<std::uint8_t>(pgn >> 16)});
  }
  /// The key switch and speed message of the tractor, every 100 ms.
  void key(double from, double to, bool on, Address source = 0) {
    Payload payload(8, 0xFF);
    payload[7] = static_cast<std::uint8_t>(0xF3 | (on ? 1 : 0) << 2);
    every(0.1, from, to, 0xFE48, source, payload);
  }
  void engine(double from, double to, unsigned rpm, Address source = 0) {
    Payload payload(8, 0xFF);
    payload[3] = static_cast<std::uint8_t>(rpm * 8);
    payload[4] = static_cast<std::uint8_t>(rpm * 8 >> 8);
    every(0.1, from, to, 0xF004, source, payload);
  }
  /// Statistics each second; what is recorded is what was received, plus `dropped`.
  void statistics(double from, double to, std::uint64_t dropped = 0, BusIndex bus = 0) {
    for (double t = from; t < to; t += 1) {
      Counters counters;
      counters.system_dropped = dropped;
      notice(t, counters, bus);
      items_.back().count_received = true;
    }
  }

  /// Frames of one bus within a time are never recorded.
  void lose(double from, double to, bool statistics_too) {
    std::erase_if(items_, [&](const Item& item) {
      return item.event.time > at(from) && item.event.time < at(to) &&
             (statistics_too || item.event.kind != EventKind::notice);
    });
  }

  std::vector<Event> events() {
    std::stable_sort(items_.begin(), items_.end(),
                     [](const Item& a, const Item& b) { return a.event.time < b.event.time; });
    std::vector<Event> events;
    std::vector<std::uint64_t> received(256, 0);
    std::uint64_t number = 0;
    for (Item& item : items_) {
      Event& event = item.event;
      if (event.kind == EventKind::notice) {
        if (item.count_received) {
          auto& counters = std::get<Counters>(item.notice);
          counters.received = received[event.bus] + counters.system_dropped.value_or(0);
        }
        event.notice = &item.notice;
      } else {
        event.number = ++number;
        event.data = item.payload.data();
        event.len = static_cast<std::uint8_t>(item.payload.size());
        ++received[event.bus];
      }
      events.push_back(event);
    }
    return events;
  }

  Conclusions conclude(const std::optional<Roster>& roster = std::nullopt) {
    Examiner examiner;
    examiner.take(events());
    return examiner.conclude(roster);
  }

 private:
  struct Item {
    Event event;
    Payload payload;
    Notice notice;
    bool count_received = false;
  };
  std::deque<Item> items_;
};

inline std::vector<Fault> faults_of(const Conclusions& all, const std::string& code) {
  std::vector<Fault> found;
  for (const Fault& fault : all.faults)
    if (fault.code == code) found.push_back(fault);
  return found;
}
inline std::vector<Finding> findings_of(const Conclusions& all, const std::string& cause) {
  std::vector<Finding> found;
  for (const Finding& finding : all.findings)
    if (finding.cause == cause) found.push_back(finding);
  return found;
}
inline const ControllerRecord& controller_of(const Conclusions& all, Name name) {
  for (const ControllerRecord& controller : all.controllers)
    if (controller.name == name) return controller;
  FAIL("no controller " + name.hex());
  throw 0;
}
/// Close enough: the benches place frames a few milliseconds apart.
inline bool near(TimeNs time, double seconds, double within = 0.15) {
  return std::abs(static_cast<double>(time - ExamBench::at(seconds))) <= within * 1e9;
}

}  // namespace tramlog
