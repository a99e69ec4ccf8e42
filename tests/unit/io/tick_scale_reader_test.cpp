#include <catch2/catch.hpp>

#include "io/tick_scale.hpp"

using namespace tramlog;

TEST_CASE("decimal resolutions") {
  CHECK(TickScale(9, 0).to_time(1'700'000'000'123'456'789) == 1'700'000'000'123'456'789);
  CHECK(TickScale(6, 0).to_time(1'700'000'000'123'456) == 1'700'000'000'123'456'000);
  CHECK(TickScale().to_time(5) == 5'000);
  CHECK(TickScale(3, 0).to_time(1'700'000'000'123) == 1'700'000'000'123'000'000);
  CHECK(TickScale(0, 0).to_time(1'700'000'000) == 1'700'000'000'000'000'000);
  CHECK(TickScale(12, 0).to_time(12'345'678) == 12'345);
  CHECK(TickScale(19, 0).to_time(10'000'000'000'000'000'000u) == 1'000'000'000);
  CHECK(TickScale(28, 0).to_time(~std::uint64_t{0}) == 1);
  CHECK(TickScale(29, 0).to_time(~std::uint64_t{0}) == 0);
  CHECK(TickScale(127, 0).to_time(~std::uint64_t{0}) == 0);
}

TEST_CASE("binary resolutions") {
  CHECK(TickScale(0x80, 0).to_time(3) == 3 * kSecond);
  CHECK(TickScale(0x80 | 10, 0).to_time(1536) == 1'500'000'000);
  CHECK(TickScale(0x80 | 32, 0).to_time(std::uint64_t{1'700'000'000} << 32 | 0x80000000u) ==
        1'700'000'000'500'000'000);
  CHECK(TickScale(0x80 | 63, 0).to_time(std::uint64_t{1} << 63) == kSecond);
  CHECK(TickScale(0xFF, 0).to_time(~std::uint64_t{0}) == 0);
}

TEST_CASE("offsets in seconds, both signs") {
  CHECK(TickScale(9, 1'000).to_time(7) == 1'000 * kSecond + 7);
  CHECK(TickScale(6, -10).to_time(4'000'000) == -6 * kSecond);
  CHECK(TickScale(0x80 | 1, 2).to_time(1) == 2'500'000'000);
}

TEST_CASE("times beyond the range are held at its ends") {
  const auto huge = ~std::uint64_t{0};
  for (const std::uint8_t resolution : {0, 1, 5, 6, 9, 0x80, 0x81}) {
    CHECK(TickScale(resolution, 0).to_time(huge) == kTimeLimit);
    CHECK(TickScale(resolution, INT64_MAX).to_time(huge) == kTimeLimit);
    CHECK(TickScale(resolution, INT64_MIN).to_time(0) < -kTimeLimit + kSecond);
    CHECK(TickScale(resolution, INT64_MIN).to_time(0) >= -kTimeLimit);
  }
  CHECK(TickScale(9, 0).to_time(static_cast<std::uint64_t>(kTimeLimit)) == kTimeLimit);
  CHECK(TickScale(9, 0).to_time(static_cast<std::uint64_t>(kTimeLimit) + 1) == kTimeLimit);
}
