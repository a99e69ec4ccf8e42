#include "wire/replay.hpp"

#include <catch2/catch.hpp>
#include <limits>

#include "wire_frames.hpp"

using namespace tramlog;
using tramlog::test::Frames;
using Data = std::vector<std::uint8_t>;

namespace {

constexpr SpanNs kMs = kMillisecond;

/// What the kernel would be handed.
Data encoded(const Event& event) {
  std::uint8_t bytes[72];
  const std::size_t size = encode_frame(event, bytes);
  return Data(bytes, bytes + size);
}

}  // namespace

TEST_CASE("Frames are due at their own pace, counted from the first") {
  ReplaySchedule schedule({});
  const TimeNs start = 1'790'000'000 * kSecond + 123;
  CHECK(schedule.due(start) == 0);
  CHECK(schedule.due(start + 1) == 1);
  CHECK(schedule.due(start + kSecond) == kSecond);
  CHECK(schedule.cut_pauses() == 0);
}

TEST_CASE("A factor divides the time, without drift over ten million frames") {
  ReplaySchedule twice({2.0, {}});
  CHECK(twice.due(5) == 0);
  CHECK(twice.due(5 + kSecond) == kSecond / 2);
  ReplaySchedule half({0.5, {}});
  half.due(0);
  CHECK(half.due(kSecond) == 2 * kSecond);
  // 333,333 ns at factor 3 are 111,111 ns each, exactly.
  ReplaySchedule thrice({3.0, {}});
  SpanNs due = 0;
  for (std::int64_t i = 0; i <= 10'000'000; ++i) due = thrice.due(i * 333'333);
  CHECK(due == 10'000'000 * SpanNs{111'111});
  ReplaySchedule odd({7.0, {}});
  for (std::int64_t i = 0; i <= 10'000'000; ++i) due = odd.due(i * 1'000);
  CHECK(due == 1'428'571'429);  // 10 s / 7
}

TEST_CASE("Long pauses are cut only if asked, before the factor") {
  ReplaySchedule kept({});
  kept.due(0);
  CHECK(kept.due(kHour) == kHour);
  ReplaySchedule cut({2.0, 10 * kSecond});
  cut.due(0);
  CHECK(cut.due(10 * kSecond) == 5 * kSecond);
  CHECK(cut.cut_pauses() == 0);
  CHECK(cut.due(10 * kSecond + kHour) == 10 * kSecond);
  CHECK(cut.cut_pauses() == 1);
  CHECK(cut.due(10 * kSecond + kHour + 2 * kMs) == 10 * kSecond + kMs);
}

TEST_CASE("A clock that went back makes no pause and no debt") {
  ReplaySchedule schedule({});
  schedule.due(100 * kMs);
  CHECK(schedule.due(200 * kMs) == 100 * kMs);
  CHECK(schedule.due(50 * kMs) == 100 * kMs);
  CHECK(schedule.due(60 * kMs) == 110 * kMs);
  CHECK(schedule.steps_back() == 1);
}

TEST_CASE("Time stamps that a flipped bit has sent away do not overflow") {
  ReplaySchedule schedule({1e-6, {}});
  schedule.due(INT64_MIN);
  CHECK(schedule.due(INT64_MAX) == INT64_MAX);
  CHECK(schedule.due(INT64_MIN) == INT64_MAX);
  CHECK(schedule.due(INT64_MAX) == INT64_MAX);
}

TEST_CASE("Frames as the kernel takes them, all kinds and flags kept") {
  Frames frames;
  // Little-endian can_id here; the tests run on the machine that would send.
  CHECK(encoded(frames(0, 0x0CFE48F0, {1, 2, 3}, kExtendedId)) ==
        Data{0xF0, 0x48, 0xFE, 0x8C, 3, 0, 0, 0, 1, 2, 3, 0, 0, 0, 0, 0});
  CHECK(encoded(frames(0, 0x123, {}, 0)) == Data{0x23, 0x01, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0});
  // Remote, length code 5, no data whatever the capture holds.
  CHECK(encoded(frames(0, 0x18EAFFFE, {9, 9, 9, 9, 9}, kExtendedId | kRemote)) ==
        Data{0xFE, 0xFF, 0xEA, 0xD8, 5, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0});
  // What was sent by the recording machine is a frame like any other.
  CHECK(encoded(frames(0, 0x7FF, {1}, kOutbound)).size() == 16);
  const Data fd = encoded(frames(0, 0x7FF, Data(64, 0xAB), kFd | kBitRateSwitch));
  REQUIRE(fd.size() == 72);
  CHECK(Data(fd.begin(), fd.begin() + 9) == Data{0xFF, 0x07, 0, 0, 64, 1, 0, 0, 0xAB});
  CHECK(encoded(frames(0, 0x7FF, Data(12, 0), kFd | kErrorState))[5] == 2);
}

TEST_CASE("What is no whole frame is not sent") {
  Frames frames;
  CHECK(encoded(frames.error(0, 0x004)).empty());
  CHECK(encoded(frames(0, 1, {1, 2}, kExtendedId | kShortData)).empty());
  CHECK(encoded(frames(0, 1, Data(9, 0), kExtendedId)).empty());
  Event foreign = frames(0, 0, {}, 0);
  foreign.kind = EventKind::foreign;
  CHECK(encoded(foreign).empty());
  foreign.kind = EventKind::notice;
  CHECK(encoded(foreign).empty());
}

TEST_CASE("Who talks, in words") {
  CHECK(busy_text({}).empty());
  CHECK(busy_text({{"can0", 0x26, 7}}) == "busy: 0x26 is talking on can0");
  CHECK(busy_text({{"can0", {}, 1}, {"can0", 0x26, 7}, {"can0", 0xF0, 9}, {"can1", 0x80, 1}}) ==
        "busy: a unit without ISO 11783 frames, 0x26 and 0xF0 are talking on can0; 0x80 is talking on can1");
}

TEST_CASE("A replay that makes no sense is refused before anything is opened") {
  auto source =
      CaptureSource::open({std::string(TRAMLOG_SOURCE_DIR) + "/captures/bus-silent/capture.pcapng.zst"});
  REQUIRE(source.ok());
  ReplayOptions options;
  CHECK(replay(*source, options, nullptr).error().kind == ErrorKind::usage);  // no route
  options.routes = {{"*", "nosuchcan"}};
  for (const double factor : {0.0, -1.0, 2e6, std::numeric_limits<double>::quiet_NaN()}) {
    options.pace.factor = factor;
    CHECK(replay(*source, options, nullptr).error().kind == ErrorKind::usage);
  }
  options.pace.factor = 1;
  CHECK(replay(*source, options, nullptr).error().kind == ErrorKind::environment);  // no such interface
  CHECK(who_talks({"nosuchcan"}, 0, nullptr).error().kind == ErrorKind::environment);
}
