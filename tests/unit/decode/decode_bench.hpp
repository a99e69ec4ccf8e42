// Feeds an Interpreter by hand and keeps what it tells.
#pragma once

#include <catch2/catch.hpp>
#include <deque>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "decode/interpreter.hpp"
#include "isobus/network.hpp"

namespace tramlog::test {

using Payload = std::vector<std::uint8_t>;

// 2026-04-07T06:12:00Z: 20,550 days after 1970-01-01.
inline constexpr TimeNs kBegin = 20'550 * 24 * kHour + 6 * kHour + 12 * kMinute;

// Function 134 (tractor ECU) in group 2, class 0: see the NAME's fields; function 128 (rate control) in
// class 4.
inline constexpr std::uint64_t kTractor = std::uint64_t{2} << 60 | std::uint64_t{134} << 40 | 0x1234;
inline constexpr std::uint64_t kMeter = std::uint64_t{2} << 60 | std::uint64_t{4} << 49 |
                                        std::uint64_t{128} << 40 | std::uint64_t{77} << 21 | 0x5678;

inline Payload little_endian(std::uint64_t value, std::size_t bytes = 8) {
  Payload payload;
  for (std::size_t i = 0; i < bytes; ++i) payload.push_back(static_cast<std::uint8_t>(value >> (8 * i)));
  return payload;
}

/// Events with times in seconds from kBegin, in the order in which they are added.
class Traffic {
 public:
  Traffic() { bus(0, "can0"); }

  Traffic& bus(BusIndex index, const std::string& name) { return notice(0, BusInfo{name, 250'000}, index); }
  Traffic& frame(double at_s, std::uint32_t id, Payload payload, BusIndex bus = 0,
                 std::uint8_t flags = kExtendedId) {
    payloads_->push_back(std::move(payload));
    Event event;
    event.time = time(at_s);
    event.number = ++numbers_;
    event.id = id;
    event.bus = bus;
    event.flags = flags;
    event.data = payloads_->back().data();
    event.len = static_cast<std::uint8_t>(payloads_->back().size());
    events_.push_back(event);
    return *this;
  }
  Traffic& claim(double at_s, Address address, std::uint64_t name, BusIndex bus = 0) {
    return frame(at_s, make_id(6, kPgnAddressClaimed, address), little_endian(name), bus);
  }
  Traffic& notice(double at_s, Notice what, BusIndex bus = 0) {
    notices_->push_back(std::move(what));
    Event event;
    event.kind = EventKind::notice;
    event.time = time(at_s);
    event.bus = bus;
    event.notice = &notices_->back();
    events_.push_back(event);
    return *this;
  }
  Traffic& error(double at_s, BusIndex bus = 0) {
    frame(at_s, 0x08, Payload(8, 0), bus, 0);
    events_.back().kind = EventKind::error;
    return *this;
  }
  /// A broadcast transfer: announcement, then packets of seven bytes, 50 ms apart.
  Traffic& bam(double at_s, Pgn pgn, Address source, const Payload& message) {
    const auto size = static_cast<std::uint8_t>(message.size());
    const auto packets = static_cast<std::uint8_t>((message.size() + 6) / 7);
    frame(at_s, make_id(7, 0xEC00, source),
          {32, size, 0, packets, 0xFF, static_cast<std::uint8_t>(pgn), static_cast<std::uint8_t>(pgn >> 8),
           static_cast<std::uint8_t>(pgn >> 16)});
    for (std::size_t p = 0; p < packets; ++p) {
      Payload packet{static_cast<std::uint8_t>(p + 1)};
      for (std::size_t i = 7 * p; i < 7 * p + 7; ++i)
        packet.push_back(i < message.size() ? message[i] : std::uint8_t{0xFF});
      frame(at_s + 0.05 * static_cast<double>(p + 1), make_id(7, 0xEB00, source), packet);
    }
    return *this;
  }

  const std::vector<Event>& events() const { return events_; }
  static TimeNs time(double at_s) { return kBegin + static_cast<SpanNs>(at_s * 1e9 + 0.5); }

 private:
  // Shared by copies: the events point into them.
  std::shared_ptr<std::deque<Payload>> payloads_ = std::make_shared<std::deque<Payload>>();
  std::shared_ptr<std::deque<Notice>> notices_ = std::make_shared<std::deque<Notice>>();
  std::vector<Event> events_;
  std::uint64_t numbers_ = 0;
};

/// A copy of what a sink got.
struct Told {
  std::string message;  // "" if not in the schema
  Pgn pgn = 0;
  Address source = 0;
  std::string from, to;
  std::uint64_t first_frame = 0, last_frame = 0;
  std::uint8_t priority = 0, flags = 0;
  Carrier carrier = Carrier::single;
  Payload data;
  std::map<std::string, Reading> readings;
  std::vector<Remark> remarks;
};

class Listener final : public DecodeSink {
 public:
  std::vector<Told> told;
  std::vector<EventKind> events;
  unsigned announcements = 0;  // on_bus

  void on_message(const DecodedMessage& message) override {
    const Talk& talk = *message.talk;
    Told one;
    if (talk.spec != nullptr) one.message = talk.spec->name;
    one.pgn = talk.pgn;
    one.source = talk.from.address;
    one.from = talk.from.words;
    one.to = talk.to.words;
    one.first_frame = message.first_frame;
    one.last_frame = message.last_frame;
    one.priority = message.priority;
    one.flags = message.flags;
    one.carrier = message.carrier;
    one.data.assign(message.data.begin(), message.data.end());
    for (const Reading& reading : message.readings) one.readings.emplace(reading.signal->name, reading);
    one.remarks.assign(message.remarks.begin(), message.remarks.end());
    told.push_back(std::move(one));
  }
  void on_event(const Event& event) override { events.push_back(event.kind); }
  void on_bus(const Event&) override { ++announcements; }

  std::vector<std::uint64_t> frames() const {
    std::vector<std::uint64_t> numbers;
    for (const Told& one : told) numbers.push_back(one.last_frame);
    return numbers;
  }
};

/// Our own messages for these tests, so that no value depends on the files in dbc/.
inline const char* const kSchemaText = R"(VERSION ""
BU_: Tractor Drill
BO_ 2365475070 WheelSpeed: 8 Tractor
 SG_ Speed : 0|16@1+ (0.001,0) [0|64.255] "m/s" Anybody
 SG_ Distance : 16|32@1+ (0.001,0) [0|4211081.215] "m" Anybody
 SG_ KeySwitch : 58|2@1+ (1,0) [0|3] "" Anybody
BO_ 2566852862 Rates: 8 Drill
 SG_ Product M : 0|8@1+ (1,0) [0|250] "" Anybody
 SG_ SeedRate m1 : 8|16@1+ (0.5,-100) [-100|32027.5] "kg" Anybody
 SG_ GrainRate m2 : 8|16@1+ (1,0) [0|64255] "1/m" Anybody
BO_ 2566857214 LongTexts: 14 Drill
 SG_ First : 0|8@1+ (1,0) [0|250] "" Anybody
 SG_ Last : 104|8@1+ (1,0) [0|250] "" Anybody
BO_ 2583639038 FastLong: 12 Drill
 SG_ Begin : 0|16@1+ (1,0) [0|64255] "" Anybody
 SG_ End : 80|16@1+ (1,0) [0|64255] "" Anybody
BO_ 291 ElevenBits: 8 Drill
 SG_ Pressure : 0|16@1- (0.1,0) [-3276.8|3276.7] "kPa" Anybody
BA_DEF_ SG_ "SPN" INT 0 524287;
BA_ "SPN" SG_ 2365475070 Speed 1862;
VAL_ 2365475070 KeySwitch 0 "off" 1 "not off" 2 "error" 3 "not available" ;
)";

inline Schema test_schema() {
  Schema schema;
  DbcFile file = parse_dbc(kSchemaText, "test.dbc");
  check_dbc(file);
  schema.add(std::move(file));
  return schema;
}

inline Listener listen(const Traffic& traffic, const DecodeFilter& filter = {},
                       std::optional<Roster> roster = std::nullopt, std::size_t batch = 3) {
  static const Schema schema = test_schema();
  Listener listener;
  auto made = Interpreter::make(schema, filter, std::move(roster), listener);
  REQUIRE(made.ok());
  Interpreter& interpreter = **made;
  const std::vector<Event>& events = traffic.events();
  for (std::size_t i = 0; i < events.size(); i += batch)
    interpreter.take(std::span(events).subspan(i, std::min(batch, events.size() - i)));
  interpreter.finish();
  return listener;
}

}  // namespace tramlog::test
