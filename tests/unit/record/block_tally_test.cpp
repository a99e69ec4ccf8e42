#include "record/block_tally.hpp"

#include <random>

#include "recording.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

/// Feeds the bytes through a window of this size, as packing and mending do.
BlockTally tallied(const std::string& bytes, std::size_t window, BlockTally::Times& times) {
  BlockTally tally;
  std::string held;
  std::size_t next = 0, taken_in_all = 0;
  for (bool ended = false; !ended;) {
    const std::size_t more = std::min(window - held.size(), bytes.size() - next);
    held += bytes.substr(next, more);
    next += more;
    ended = held.size() < window;
    const std::size_t taken =
        tally.take({reinterpret_cast<const std::uint8_t*>(held.data()), held.size()}, ended);
    REQUIRE((taken > 0 || ended));
    REQUIRE(taken <= held.size());
    taken_in_all += taken;
    held.erase(0, taken);
  }
  REQUIRE(taken_in_all == bytes.size());
  times = tally.take_times();
  return tally;
}

}  // namespace

TEST_CASE("Times, packets and contents of whole blocks") {
  const std::string bytes = segment_bytes({1, kStart, 5000, true});
  for (const std::size_t window : {150'000u, 200'003u, 1'000'000u}) {
    BlockTally::Times times;
    const BlockTally tally = tallied(bytes, window, times);
    CHECK(tally.whole_until() == bytes.size());
    CHECK_FALSE(tally.damaged_in_the_middle());
    CHECK(tally.contents() == 5003);  // two notes and the statistics besides
    CHECK(times.packets == 5000);
    CHECK(times.timed);
    CHECK(times.first == kStart);
    CHECK(times.last == kStart + 5000 * kMillisecond + 5);
  }
}

TEST_CASE("Units of microseconds, an offset, the other byte order") {
  // Section, interface (link type 227, if_tsoffset 100 s, microseconds as there is no if_tsresol), an empty
  // packet at 7 us.
  const auto big = [](std::uint32_t value) {
    std::string text;
    for (int shift = 24; shift >= 0; shift -= 8) text.push_back(static_cast<char>(value >> shift & 0xFF));
    return text;
  };
  std::string bytes =
      big(0x0A0D0D0A) + big(28) + big(0x1A2B3C4D) + big(0x00010000) + big(~0u) + big(~0u) + big(28);
  bytes +=
      big(1) + big(36) + big(227u << 16) + big(0) + big(14u << 16 | 8) + big(0) + big(100) + big(0) + big(36);
  bytes += big(6) + big(32) + big(0) + big(0) + big(7) + big(0) + big(0) + big(32);
  BlockTally::Times times;
  const BlockTally tally = tallied(bytes, 1000, times);
  CHECK(tally.whole_until() == bytes.size());
  CHECK(times.packets == 1);
  CHECK(times.first == 100 * kSecond + 7000);
  CHECK(times.last == times.first);
}

TEST_CASE("Whatever the bytes: all of them are taken, and the end of the whole ones is right") {
  std::mt19937 random(11);
  const std::string good = segment_bytes({1, kStart, 8000, true});
  const auto starts = block_starts(good);
  for (int i = 0; i < 150; ++i) {
    std::string bad = good;
    // The length of this block is hit; those before it are whole, and it is not.
    const std::size_t hit = random() % (starts.size() - 1);
    bad[starts[hit] + 4 + random() % 4] ^= static_cast<char>(1 + random() % 255);
    for (int more = 0; more < i % 7; ++more) {
      const std::size_t at = starts[hit] + 8 + random() % (bad.size() - starts[hit] - 8);
      if (i % 2 == 0)
        bad[at] = static_cast<char>(random());
      else
        bad.insert(at, std::string(random() % 90'000, static_cast<char>(random())));
    }
    for (const std::size_t window : {140'000u, 1'000'000u}) {
      BlockTally::Times times;
      const BlockTally tally = tallied(bad, window, times);
      INFO("round " << i << ", block " << hit);
      REQUIRE(tally.whole_until() == starts[hit]);
    }
  }
  for (int i = 0; i < 20; ++i) {
    std::string rubbish(random() % 500'000, '\0');
    for (char& byte : rubbish) byte = static_cast<char>(random() % (i + 2));
    BlockTally::Times times;
    REQUIRE(tallied(rubbish, 140'000, times).whole_until() == 0);
  }
}
