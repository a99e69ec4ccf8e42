// Time stamps that a flipped bit has thrown far away, and clocks that stepped.
#include <catch2/catch.hpp>

#include "capture_bytes.hpp"
#include "io/lone_stamp.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

constexpr std::uint64_t kStep = 10'000'000;  // ns between packets

std::vector<std::uint64_t> steady(std::size_t count) {
  std::vector<std::uint64_t> stamps;
  for (std::size_t i = 0; i < count; ++i) stamps.push_back(static_cast<std::uint64_t>(kT0) + i * kStep);
  return stamps;
}

std::string capture_of(const std::vector<std::uint64_t>& stamps, const std::vector<std::uint32_t>& bus = {}) {
  const BlockBuilder b;
  std::string bytes = b.section() + b.nanosecond_bus("can0") + b.nanosecond_bus("can1");
  for (std::size_t i = 0; i < stamps.size(); ++i)
    bytes += b.packet(stamps[i], can_packet(0x98FF0080, std::string(8, 'x')), bus.empty() ? 0 : bus[i]);
  return bytes;
}

std::vector<std::uint64_t> times_of(const Seen& seen) {
  std::vector<std::uint64_t> times;
  for (const SeenEvent& one : seen.packets()) times.push_back(static_cast<std::uint64_t>(one.event.time));
  return times;
}

void is_left_alone(const std::vector<std::uint64_t>& stamps, const std::vector<std::uint32_t>& bus = {}) {
  const Seen seen = read_bytes(capture_of(stamps, bus));
  CHECK(times_of(seen) == stamps);
  CHECK(seen.notices<Damage>().empty());
}

}  // namespace

TEST_CASE("a time stamp that one bit has thrown far away is put right and told") {
  const unsigned bit = GENERATE(32u, 35u, 42u, 52u, 61u);
  const std::size_t at = GENERATE(std::size_t{1}, std::size_t{20}, std::size_t{37});
  const std::vector<std::uint64_t> good = steady(40);
  std::vector<std::uint64_t> hit = good;
  hit[at] ^= std::uint64_t{1} << bit;
  INFO("bit " << bit << " of packet " << at);
  for (const std::size_t step : {std::size_t{0}, std::size_t{1}, std::size_t{97}}) {
    const Seen seen = read_bytes(capture_of(hit), CaptureFormat::pcapng, step);
    CHECK(times_of(seen) == good);
    const auto damage = seen.notices<Damage>();
    REQUIRE(damage.size() == 1);
    CHECK(damage[0].kind == Damage::Kind::stamp);
    CHECK(damage[0].bytes == 0);
    CHECK(seen.tally.damaged_bytes == 0);
  }
}

TEST_CASE("two stamps in a row, of which nothing is left, get the time before them") {
  std::vector<std::uint64_t> hit = steady(40), expected = hit;
  hit[20] = 0x0123456789ABCDEF;
  hit[21] = 12'345;
  expected[20] = expected[21] = expected[19];
  const Seen seen = read_bytes(capture_of(hit));
  CHECK(times_of(seen) == expected);
  CHECK(seen.notices<Damage>().size() == 2);
}

TEST_CASE("a statistics block's stamp is put right, too") {
  const BlockBuilder b;
  std::string bytes = b.section() + b.nanosecond_bus("can0");
  for (std::size_t i = 0; i < 20; ++i) {
    bytes += b.packet(static_cast<std::uint64_t>(kT0) + i * kStep, can_packet(0x98FF0080, "12345678"));
    if (i == 9)
      bytes += b.statistics((static_cast<std::uint64_t>(kT0) + i * kStep + 5) ^ std::uint64_t{1} << 50,
                            b.option_of(4, std::uint64_t{10}));
  }
  const Seen seen = read_bytes(bytes);
  CHECK(seen.notices<Damage>().size() == 1);
  REQUIRE(seen.notices<Counters>().size() == 1);
  for (const SeenEvent& one : seen.events)
    if (one.as<Counters>() != nullptr) CHECK(one.event.time == kT0 + 9 * static_cast<TimeNs>(kStep) + 5);
}

TEST_CASE("a clock that steps takes all later packets with it") {
  const std::int64_t step =
      GENERATE(90'000'000'000, -3'500'000'000, -86'400'000'000'000, 1'000'000'000'000'000);
  std::vector<std::uint64_t> stamps = steady(40);
  for (std::size_t i = 15; i < stamps.size(); ++i) stamps[i] += static_cast<std::uint64_t>(step);
  is_left_alone(stamps);
}

TEST_CASE("a pause is no damage, nor are a few words in the middle of one, nor the last one after it") {
  std::vector<std::uint64_t> stamps = steady(40);
  for (std::size_t i = 15; i < stamps.size(); ++i) stamps[i] += 3'600'000'000'000;
  for (std::size_t i = 16; i < stamps.size(); ++i) stamps[i] += 3'600'000'000'000;
  stamps.back() += 7'200'000'000'000;
  is_left_alone(stamps);
}

TEST_CASE("a bus that is written later than another is no damage") {
  std::vector<std::uint64_t> stamps = steady(40);
  std::vector<std::uint32_t> bus(40, 0);
  stamps[20] = stamps[0] - 2'700'000'000;
  bus[20] = 1;
  is_left_alone(stamps, bus);
}

TEST_CASE("one bit and no other puts a time between two") {
  const TimeNs low = kT0, high = kT0 + 100;
  CHECK(one_bit_between((kT0 + 50) ^ TimeNs{1} << 40, low, high) == kT0 + 50);
  CHECK(one_bit_between((kT0 + 50) ^ TimeNs{1} << 40, high, low) == kT0 + 50);
  CHECK_FALSE(one_bit_between((kT0 + 50) ^ TimeNs{3} << 40, low, high));
  CHECK_FALSE(one_bit_between(kT0 + 50, low, high));  // several bits do
}
