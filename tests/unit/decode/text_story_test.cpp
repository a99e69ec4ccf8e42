// Whole stories from hand-made messages; every value is computed in the comment beside it.
#include "decode/text_story.hpp"

#include <catch2/catch.hpp>
#include <map>

#include "unit/decode/story_bench.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

// 2026-04-07 06:12:00.100 UTC: 20550 days after the epoch.
constexpr TimeNs kStart = 20550 * 24 * kHour + 6 * kHour + 12 * kMinute + 100 * kMillisecond;

class Story {
 public:
  explicit Story(TextOptions options = {})
      : out_([this](std::string_view text) { text_ += text; }), sink_(make_text_story(out_, options)) {}

  void bus(BusIndex index, const std::string& name) {
    const Notice notice = BusInfo{name, 250000};
    Event event;
    event.kind = EventKind::notice;
    event.notice = &notice;
    event.bus = index;
    sink_->on_bus(event);
  }
  void language(BusIndex index, std::uint8_t b5, std::uint8_t b6) {
    const Data data{'e', 'n', 0xFF, 0xFF, b5, b6, 0xFF, 0xFF};
    Event event;
    event.id = 0x18FE0F26;
    event.flags = kExtendedId;
    event.bus = index;
    event.data = data.data();
    event.len = 8;
    sink_->on_bus(event);
  }
  void event(EventKind kind, std::uint32_t id, const Data& data, const Notice* notice = nullptr,
             BusIndex index = 0) {
    Event event;
    event.kind = kind;
    event.time = kStart + kSecond;
    event.id = id;
    event.bus = index;
    event.notice = notice;
    event.data = data.data();
    event.len = static_cast<std::uint8_t>(data.size());
    sink_->on_event(event);
  }
  /// Its own talk for every identifier.
  void message(std::uint32_t id, const Data& data, TimeNs time = kStart,
               const std::vector<Remark>& remarks = {}) {
    DecodedMessage message;
    message.talk = &talk(id, true);
    message.time = time;
    message.first_frame = message.last_frame = 7;
    say(message, data, remarks);
  }
  void say(DecodedMessage& message, const Data& data, const std::vector<Remark>& remarks = {}) {
    std::vector<Reading> readings;
    if (message.talk->spec) read_signals(*message.talk->spec, data, readings);
    message.data = data;
    message.readings = readings;
    message.remarks = remarks;
    sink_->on_message(message);
  }
  Talk& talk(std::uint32_t id, bool extended, BusIndex index = 0) {
    auto& made = talks_[{id, index}];
    if (made) return *made;
    made = std::make_unique<Talk>();
    made->slot = static_cast<std::uint32_t>(talks_.size() - 1);
    made->id = id;
    made->extended = extended;
    made->pgn = extended ? pgn_of(id) : 0;
    made->from = {index, source_of(id), std::nullopt, source_of(id) == 0xF0 ? "tractor ECU" : "unclaimed"};
    made->to = {index, destination_of(id), std::nullopt, destination_of(id) == 0xFF ? "all" : "rate control"};
    made->spec = schema_.find(id, extended);
    return *made;
  }
  std::string text() {
    out_.flush();
    return text_;
  }

 private:
  Schema schema_ = small_schema();
  std::map<std::pair<std::uint32_t, BusIndex>, std::unique_ptr<Talk>> talks_;
  std::string text_;
  OutputBuffer out_;
  std::unique_ptr<DecodeSink> sink_;
};

constexpr std::uint32_t kWheel = 0x0CFE48F0, kPower = 0x18FEF7F0;
// 2511 x 0.001 m/s = 2.511 m/s = 9.0396 km/h; 1 234 567 x 0.001 = 1234.567 m; B8: forward (01), not off (01).
const Data kWheelData{0xCF, 0x09, 0x87, 0xD6, 0x12, 0x00, 0xFF, 0xF5};

}  // namespace

TEST_CASE("a message as a story") {
  Story story;
  story.message(kWheel, kWheelData);
  CHECK(story.text() ==
        "2026-04-07, times in UTC\n"
        "06:12:00.100 tractor ECU (240, 0xF0): WheelSpeed, PGN 65096 (0xFE48)\n"
        "    Speed 9.040 km/h, Distance 1234.567 m, Direction forward, KeySwitch not off\n");
}

TEST_CASE("the date comes again only when the day changes") {
  Story story;
  story.message(kWheel, kWheelData);
  story.message(kWheel, kWheelData, kStart + 17 * kHour + 47 * kMinute);  // 23:59
  story.message(kWheel, kWheelData, kStart + 17 * kHour + 48 * kMinute);  // 00:00 of the next day
  const std::string text = story.text();
  CHECK(text.find("\n23:59:00.100 ") != std::string::npos);
  CHECK(text.find("\n2026-04-08, times in UTC\n00:00:00.100 ") != std::string::npos);
  CHECK(std::string_view(text).find("2026-04-07", 5) == std::string_view::npos);
}

TEST_CASE("moments before 1970") {
  Story story;
  story.message(kWheel, kWheelData, -1);
  CHECK(story.text().starts_with("1969-12-31, times in UTC\n23:59:59.999 "));
}

TEST_CASE("what is not available is gathered, errors stand among the values") {
  Story story;
  // Speed FFFF not available, distance FExxxxxx error, direction 3, key 2.
  story.message(kWheel, {0xFF, 0xFF, 0x00, 0x00, 0x00, 0xFE, 0xFF, 0xFB});
  CHECK(story.text() ==
        "2026-04-07, times in UTC\n"
        "06:12:00.100 tractor ECU (240, 0xF0): WheelSpeed, PGN 65096 (0xFE48)\n"
        "    Distance error (0xFE000000), KeySwitch error\n"
        "    not available: Speed, Direction\n");
}

TEST_CASE("nothing available, out of range, cut off") {
  Story story;
  story.message(kWheel, Data(8, 0xFF));
  // 64255 x 0.05 = 3212.75 V, over 100; current 130 - 125 = 5 A.
  story.message(kPower, {130, 0xFF, 0xFF, 0xFF, 0xFF, 0xFA, 0xFF, 0xFF});
  story.message(kPower, {130, 0xFF, 0xFF, 0xFF});
  CHECK(story.text() ==
        "2026-04-07, times in UTC\n"
        "06:12:00.100 tractor ECU (240, 0xF0): WheelSpeed, PGN 65096 (0xFE48)\n"
        "    nothing available: every signal says so\n"
        "06:12:00.100 tractor ECU (240, 0xF0): Power, PGN 65271 (0xFEF7)\n"
        "    Current 5 A, Battery out of range: 3212.75 V\n"
        "06:12:00.100 tractor ECU (240, 0xF0): Power, PGN 65271 (0xFEF7)\n"
        "    Current 5 A\n"
        "    cut off, the message has only 4 bytes: Battery\n");
}

TEST_CASE("commands are not requested rather than not available") {
  Story story;
  story.message(0x18FF4B83, {0xFD, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});  // lift 01, float 11
  story.message(0x18FF4B83, Data(8, 0xFF));
  CHECK(story.text() ==
        "2026-04-07, times in UTC\n"
        "06:12:00.100 unclaimed (131, 0x83): Lift, PGN 65355 (0xFF4B)\n"
        "    LiftCommand 1\n"
        "    not requested: FloatCommand\n"
        "06:12:00.100 unclaimed (131, 0x83): Lift, PGN 65355 (0xFF4B)\n"
        "    nothing requested: every signal says so\n");
}

TEST_CASE("units: the bus's language command, unless the user chose") {
  Story story;
  story.language(0, 0x7F, 0xFF);  // distance imperial, all else no action
  story.message(kWheel, kWheelData);
  // 2.511 m/s / 0.44704 = 5.61695 mph; 1234.567 m / 0.3048 = 4050.416 ft.
  CHECK(story.text().find("Speed 5.617 mph, Distance 4050.4") != std::string::npos);
  story.language(0, 0x3F, 0xFF);  // back to metric: what was kept for the talk must go
  story.message(kWheel, kWheelData);
  CHECK(story.text().find("Speed 9.040 km/h, Distance 1234.567 m") != std::string::npos);

  TextOptions options;
  options.units = UnitSystem::metric;
  Story fixed(options);
  fixed.language(0, 0x7F, 0xFF);
  fixed.message(kWheel, kWheelData);
  CHECK(fixed.text().find("Speed 9.040 km/h") != std::string::npos);
}

TEST_CASE("who, to whom, unknown messages, and the bus only if there are several") {
  Story story;
  story.bus(0, "can0");
  story.message(0x1CEFF083, {1, 2, 0xAB});
  story.bus(1, "can1");
  story.message(0x1CEFF083, {});
  CHECK(
      story.text() ==
      "2026-04-07, times in UTC\n"
      "06:12:00.100 unclaimed (131, 0x83) to rate control (240, 0xF0): PGN 61184 (0xEF00), not in the\n"
      "      schema\n"
      "    bytes 01 02 ab\n"
      "06:12:00.100 on can0, unclaimed (131, 0x83) to rate control (240, 0xF0): PGN 61184 (0xEF00), not in\n"
      "      the schema\n"
      "    no bytes\n");
}

TEST_CASE("a new name for the speaker") {
  Story story;
  story.message(kWheel, kWheelData);
  Talk& talk = story.talk(kWheel, true);
  talk.from.words = "big\x1b[31m tractor \xc3\xa9";
  ++talk.generation;
  story.message(kWheel, kWheelData);
  CHECK(story.text().find("big\\x1b[31m tractor <e9> (240, 0xF0)") != std::string::npos);
}

TEST_CASE("eleven bits, remote frames, transfers, and all bytes on demand") {
  TextOptions options;
  options.data = true;
  Story story(options);
  DecodedMessage message;
  message.time = kStart;
  message.talk = &story.talk(0x123, false);
  story.say(message, {1, 0xFF, 0xF0, 0x00});  // Which = 1; Warm = 0xFFF0 = -16 x 0.5 - 10 = -18.0
  message.talk = &story.talk(0x7FF, false);
  message.flags = kRemote;
  story.say(message, {});
  message.flags = 0;
  message.talk = &story.talk(0x18FF7883, true);
  message.carrier = Carrier::bam;
  message.first_frame = 12;
  message.last_frame = 14;
  story.say(message, Data(9, 0x41));
  CHECK(
      story.text() ==
      "2026-04-07, times in UTC\n"
      "06:12:00.100 11-bit identifier 0x123: Chosen\n"
      "    Which 1, Warm -18.0 degC\n"
      "    bytes 01 ff f0 00\n"
      "06:12:00.100 11-bit identifier 0x7FF, not in the schema; a remote frame: it asks and carries no data\n"
      "06:12:00.100 unclaimed (131, 0x83): PGN 65400 (0xFF78), not in the schema; 9 bytes broadcast in\n"
      "      packets, frames 12 to 14\n"
      "    bytes 41 41 41 41 41 41 41 41 41\n");
}

TEST_CASE("remarks have lines of their own, wrapped and safe") {
  Story story;
  story.message(0x18FF7883, {1}, kStart,
                {{"active",
                  "SPN 168 FMI 4: battery potential, input 1, voltage below normal; 3 times; and a good deal "
                  "more \x1b[2J"}});
  CHECK(story.text() ==
        "2026-04-07, times in UTC\n"
        "06:12:00.100 unclaimed (131, 0x83): PGN 65400 (0xFF78), not in the schema\n"
        "    active: SPN 168 FMI 4: battery potential, input 1, voltage below normal; 3 times; and a good\n"
        "      deal more \\x1b[2J\n"
        "    byte 01\n");
}

TEST_CASE("signals are left out where the remarks say all that they hold") {
  Story story;
  // Time/date has a teller that says all, wheel speed has none: the same remark beside its signals.
  story.message(0x18FEE6F0, Data(8, 0), kStart, {{"moment", "noon"}});
  story.message(0x18FEE6F0, Data(8, 0));
  story.message(kWheel, kWheelData, kStart, {{"moment", "noon"}});
  CHECK(story.text() ==
        "2026-04-07, times in UTC\n"
        "06:12:00.100 tractor ECU (240, 0xF0): Clock, PGN 65254 (0xFEE6)\n"
        "    moment: noon\n"
        "06:12:00.100 tractor ECU (240, 0xF0): Clock, PGN 65254 (0xFEE6)\n"
        "    ClockMinutes 0 min\n"
        "06:12:00.100 tractor ECU (240, 0xF0): WheelSpeed, PGN 65096 (0xFE48)\n"
        "    Speed 9.040 km/h, Distance 1234.567 m, Direction forward, KeySwitch not off\n"
        "    moment: noon\n");
}

TEST_CASE("long paragraphs break between items and never beyond the width") {
  TextOptions options;
  options.width = 44;
  Story story(options);
  story.message(kWheel, kWheelData);
  CHECK(story.text() ==
        "2026-04-07, times in UTC\n"
        "06:12:00.100 tractor ECU (240, 0xF0):\n"
        "      WheelSpeed, PGN 65096 (0xFE48)\n"
        "    Speed 9.040 km/h, Distance 1234.567 m,\n"
        "    Direction forward, KeySwitch not off\n");
}

TEST_CASE("unknown long messages are cut unless all bytes are asked for") {
  Story brief;
  brief.message(0x18FF7883, Data(300, 0xAB));
  CHECK(brief.text().find("ab and 44 more bytes\n") != std::string::npos);
  TextOptions options;
  options.data = true;
  Story full(options);
  full.message(0x18FF7883, Data(300, 0xAB));
  const std::string text = full.text();
  std::size_t count = 0;
  for (std::size_t at = text.find(" ab"); at != std::string::npos; at = text.find(" ab", at + 1)) ++count;
  CHECK(count == 300);
}

TEST_CASE("error frames and notices") {
  Story story;
  story.event(EventKind::error, 0x20, Data(8, 0));
  const Notice lost = FramesLost{12};
  story.event(EventKind::notice, 0, {}, &lost);
  story.bus(0, "can0");
  story.bus(1, "can1");
  story.event(EventKind::error, 0x40, Data(8, 0), nullptr, 1);
  story.event(EventKind::notice, 0, {}, &lost, 1);
  CHECK(story.text() ==
        "2026-04-07, times in UTC\n"
        "06:12:01.100 Error frame: no acknowledgement: nobody else listens or the bit rate is wrong\n"
        "06:12:01.100 Recorder: 12 frames were lost just before this\n"
        "06:12:01.100 on can1, error frame: bus off: the recorder's controller has left the bus after too\n"
        "      many errors\n"
        "06:12:01.100 Recorder: 12 frames of can1 were lost just before this\n");
}
