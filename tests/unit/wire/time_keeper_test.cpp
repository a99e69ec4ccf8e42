#include "wire/time_keeper.hpp"

#include <catch2/catch.hpp>
#include <cstdlib>
#include <random>

using namespace tramlog;

namespace {

constexpr TimeNs kT = 1'795'662'900 * kSecond;

/// Time as it passes, and a real-time clock that somebody sets.
struct World {
  TimeNs running = 5'000 * kSecond;
  SpanNs real_ahead = kT - 5'000 * kSecond;
  TimeNs real() const { return running + real_ahead; }
  ClockReading read() const { return {real(), running}; }
  void pass(SpanNs span) { running += span; }
  void step(SpanNs span) { real_ahead += span; }
};

}  // namespace

TEST_CASE("Without a step, stamps are the kernel's") {
  World world;
  TimeKeeper keeper(world.read());
  CHECK(keeper.now() == kT);
  world.pass(kSecond);
  const TimeNs stamped = world.real();
  world.pass(5 * kMillisecond);
  CHECK_FALSE(keeper.observe(world.read()));
  CHECK(keeper.stamp(stamped) == kT + kSecond);
  CHECK(keeper.now() == kT + kSecond + 5 * kMillisecond);
  CHECK(keeper.shift() == 0);
}

TEST_CASE("A run that begins with a shift keeps it") {
  World world;
  TimeKeeper keeper(world.read(), -3 * kHour);
  world.pass(10 * kMillisecond);
  const TimeNs stamped = world.real();
  CHECK_FALSE(keeper.observe(world.read()));
  CHECK(keeper.stamp(stamped) == kT - 3 * kHour + 10 * kMillisecond);
}

TEST_CASE("A step is told with its size, and stamps before and after it keep the pace") {
  for (const SpanNs step : {kHour, -kHour, 40 * 365 * 24 * kHour, -40 * 365 * 24 * kHour, 50 * kMillisecond, -50 * kMillisecond}) {
    INFO("step " << step);
    World world;
    TimeKeeper keeper(world.read());
    const TimeNs before_pace = keeper.now();
    world.pass(4 * kMillisecond);
    const TimeNs before = world.real();
    world.pass(2 * kMillisecond);
    world.step(step);
    world.pass(2 * kMillisecond);
    const TimeNs after = world.real();
    world.pass(2 * kMillisecond);
    const auto told = keeper.observe(world.read());
    REQUIRE(told);
    CHECK(std::abs(*told - step) <= kMicrosecond);
    CHECK(std::abs(keeper.stamp(before) - (before_pace + 4 * kMillisecond)) <= kMillisecond);
    CHECK(std::abs(keeper.stamp(after) - (before_pace + 8 * kMillisecond)) <= kMillisecond);
    CHECK(keeper.now() == before_pace + 10 * kMillisecond);
    // And afterwards.
    world.pass(kSecond);
    const TimeNs later = world.real();
    CHECK_FALSE(keeper.observe(world.read()));
    CHECK(keeper.stamp(later) == before_pace + 10 * kMillisecond + kSecond);
  }
}

TEST_CASE("A clock that is slewed is followed and no step") {
  World world;
  TimeKeeper keeper(world.read());
  for (int i = 0; i < 1'000; ++i) {
    world.pass(10 * kMillisecond);
    world.step(5 * kMicrosecond);  // 500 ppm
    CHECK_FALSE(keeper.observe(world.read()));
  }
  CHECK(keeper.shift() == 0);
  CHECK(keeper.now() == world.real());
}

TEST_CASE("A stamp in the future becomes now, whatever it says") {
  World world;
  TimeKeeper keeper(world.read());
  world.pass(10 * kMillisecond);
  (void)keeper.observe(world.read());
  CHECK(keeper.stamp(world.real() + 1) == keeper.now());
  CHECK(keeper.stamp(world.real() + 100 * 365 * 24 * kHour) == keeper.now());
  world.step(-kHour);
  world.pass(10 * kMillisecond);
  REQUIRE(keeper.observe(world.read()));
  CHECK(keeper.stamp(world.real() + 30 * kMinute) <= keeper.now());
  CHECK(keeper.stamp(world.real() + 5 * kHour) == keeper.now());
}

TEST_CASE("A stamp of a frame that waited ten seconds while the clock stepped") {
  World world;
  TimeKeeper keeper(world.read());
  world.pass(kMillisecond);
  (void)keeper.observe(world.read());
  const TimeNs pace = keeper.now();
  world.pass(kMillisecond);
  const TimeNs stamped = world.real();
  world.step(kHour);
  world.pass(10 * kSecond);
  REQUIRE(keeper.observe(world.read()));
  CHECK(std::abs(keeper.stamp(stamped) - (pace + kMillisecond)) <= 2 * kMillisecond);
}

// The clock steps between the reading of the sockets and the look at the clocks: the frame that came in between is read
// with the next gulp, when the step is known already.
TEST_CASE("A frame stamped just before a step that was seen before the frame was read") {
  for (const SpanNs step : {kHour, -kHour}) {
    INFO("step " << step);
    World world;
    TimeKeeper keeper(world.read());
    world.pass(10 * kMillisecond);
    const TimeNs stamped = world.real();
    const TimeNs truly = keeper.now() + 10 * kMillisecond;
    world.pass(20 * kMicrosecond);
    world.step(step);
    world.pass(20 * kMicrosecond);
    REQUIRE(keeper.observe(world.read()));  // of the gulp that did not have the frame yet
    world.pass(10 * kMillisecond);
    CHECK_FALSE(keeper.observe(world.read()));
    CHECK(std::abs(keeper.stamp(stamped) - truly) <= 20 * kMillisecond);
  }
}

TEST_CASE("Random steps against a model: never later than now, never wrong by more than the time between two looks") {
  for (unsigned seed = 1; seed <= 300; ++seed) {
    INFO("seed " << seed);
    std::mt19937_64 random(seed);
    World world;
    const SpanNs shift = static_cast<SpanNs>(random() % 1'000) * kSecond;
    TimeKeeper keeper(world.read(), shift);
    const SpanNs pace = kT + shift - world.running;  // of the recorder against the running clock
    TimeNs previous_now = keeper.now();
    for (int look = 0; look < 200; ++look) {
      struct Frame {
        TimeNs stamped, truly;
      };
      std::vector<Frame> frames;
      const bool steps = random() % 8 == 0;
      const SpanNs step = (random() % 2 ? 1 : -1) * (kSecond + static_cast<SpanNs>(random() % 100'000) * kSecond);
      const unsigned parts = 1 + static_cast<unsigned>(random() % 10);
      const unsigned when = static_cast<unsigned>(random() % parts);
      const SpanNs part = 100 * kMicrosecond + static_cast<SpanNs>(random() % 5'000) * kMicrosecond;
      const TimeNs begun = world.running;
      for (unsigned i = 0; i < parts; ++i) {
        world.pass(part);
        frames.push_back({world.real(), world.running + pace});
        if (steps && i == when) world.step(step);
      }
      world.pass(part);
      const auto told = keeper.observe(world.read());
      REQUIRE(told.has_value() == steps);
      REQUIRE(std::abs(keeper.now() - (world.running + pace)) <= kMicrosecond);
      REQUIRE(keeper.now() >= previous_now);
      previous_now = keeper.now();
      for (const Frame& frame : frames) {
        const TimeNs time = keeper.stamp(frame.stamped);
        REQUIRE(time <= keeper.now());
        REQUIRE(std::abs(time - frame.truly) <= world.running - begun + 2 * kMillisecond);
      }
    }
  }
}

TEST_CASE("The machine's own clocks can be read") {
  const auto first = read_clocks();
  REQUIRE(first);
  const auto second = read_clocks();
  REQUIRE(second);
  CHECK(first->real > 1'500'000'000 * kSecond);
  CHECK(second->running >= first->running);
  CHECK(second->running - first->running < kMinute);
}
