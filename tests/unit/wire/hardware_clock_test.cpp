#include "wire/hardware_clock.hpp"

#include <catch2/catch.hpp>
#include <cstdlib>
#include <random>

using namespace tramlog;

namespace {

constexpr TimeNs kT = 1'795'662'900 * kSecond;

/// A controller whose clock began at `zero` and runs fast by `ppm`.
struct Controller {
  TimeNs zero = kT - 5'000 * kSecond;
  std::int64_t ppm = 0;
  TimeNs at(TimeNs time) const { return time - zero + (time - zero) / 1'000'000 * ppm; }
};

/// Frames each `every` for `length`, with a jitter of the kernel from `least` to `least + most_more`; the largest error of the
/// last half against the true time.
SpanNs worst_error(SpanNs every, SpanNs length, std::int64_t ppm, SpanNs least, SpanNs most_more, unsigned seed) {
  std::mt19937_64 random(seed);
  HardwareClock clock;
  Controller controller{kT - 5'000 * kSecond, ppm};
  SpanNs worst = 0;
  for (SpanNs t = 0; t < length; t += every) {
    const SpanNs jitter = least + static_cast<SpanNs>(random() % static_cast<std::uint64_t>(most_more + 1));
    const TimeNs stamped = kT + t + jitter;
    const TimeNs refined = clock.refine(stamped, controller.at(kT + t));
    REQUIRE(refined <= stamped);
    if (t > length / 2) worst = std::max(worst, std::abs(refined - (kT + t)));
  }
  return worst;
}

}  // namespace

TEST_CASE("The first stamp is taken as it is, later ones lose their jitter") {
  HardwareClock clock;
  CHECK(clock.refine(kT, 1'000) == kT);
  // 10 ms later by the controller, 12.5 ms later by the kernel.
  CHECK(clock.refine(kT + 12'500'000, 10'001'000) <= kT + 12'500'000);
  CHECK(std::abs(clock.refine(kT + 12'500'000, 10'001'000) - (kT + 10'000'000)) < 10 * kMicrosecond);
  // The shortest way so far: everything before was late.
  CHECK(clock.refine(kT + 19'000'000, 20'001'000) == kT + 19'000'000);
  CHECK(std::abs(clock.refine(kT + 35'000'000, 30'001'000) - (kT + 29'000'000)) < 10 * kMicrosecond);
}

TEST_CASE("Jitter of milliseconds becomes microseconds when both clocks run alike") {
  for (unsigned seed = 1; seed <= 5; ++seed)
    CHECK(worst_error(10 * kMillisecond, 60 * kSecond, 0, 50 * kMicrosecond, 3 * kMillisecond, seed) < kMillisecond);
}

TEST_CASE("A controller whose clock runs fast or slow is followed, however dense the traffic") {
  for (const std::int64_t ppm : {-100, -50, 50, 100})
    for (const SpanNs every : {400 * kMicrosecond, 900 * kMicrosecond, 1'900 * kMicrosecond, 20 * kMillisecond}) {
      INFO(ppm << " ppm, a frame each " << every / 1000 << " us");
      CHECK(worst_error(every, 120 * kSecond, ppm, 50 * kMicrosecond, 300 * kMicrosecond, 1) < kMillisecond);
    }
}

TEST_CASE("A pause of hours between two frames does no harm") {
  HardwareClock clock;
  Controller controller{kT - 5'000 * kSecond, 40};
  clock.refine(kT, controller.at(kT));
  for (int i = 1; i <= 5; ++i) {
    const TimeNs time = kT + i * 8 * kHour;
    const TimeNs refined = clock.refine(time + 200 * kMicrosecond, controller.at(time));
    CHECK(refined <= time + 200 * kMicrosecond);
    CHECK(refined >= time - 100 * kMillisecond);
  }
}

TEST_CASE("A clock that begins anew or jumps is another clock at once") {
  HardwareClock clock;
  TimeNs at = kT;
  TimeNs hardware = 77 * kHour;
  for (int i = 0; i < 100; ++i, at += kMillisecond, hardware += kMillisecond) clock.refine(at + 100'000, hardware);
  // Unplugged and plugged again: from zero.
  hardware = 0;
  CHECK(clock.refine(at + 100'000, hardware) == at + 100'000);
  CHECK(std::abs(clock.refine(at + 5 * kMillisecond + 900'000, hardware + 5 * kMillisecond) - (at + 5 * kMillisecond + 100'000)) < 50'000);
  // Forward by a day.
  hardware += 24 * kHour;
  at += 10 * kMillisecond;
  CHECK(clock.refine(at, hardware) == at);
  CHECK(clock.refine(at + kMillisecond, hardware + kMillisecond) == at + kMillisecond);
}

TEST_CASE("Whatever the stamps say, none comes out later than the kernel had the frame") {
  std::mt19937_64 random(3);
  for (int round = 0; round < 200; ++round) {
    HardwareClock clock;
    TimeNs at = kT, hardware = 0;
    for (int i = 0; i < 200; ++i) {
      at += static_cast<SpanNs>(random() % 5'000'000) - 100'000;
      hardware += static_cast<SpanNs>(random() % 5'000'000);
      if (random() % 50 == 0) hardware = static_cast<TimeNs>(random() % (std::uint64_t{1} << 60));
      if (random() % 50 == 0) at += static_cast<SpanNs>(random() % 1'000) * kSecond;
      REQUIRE(clock.refine(at, hardware) <= at);
    }
  }
}
