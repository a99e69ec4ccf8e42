#include "wire/open_transfers.hpp"

#include <catch2/catch.hpp>

#include "wire_frames.hpp"

using namespace tramlog;
using tramlog::test::Frames;
using Data = std::vector<std::uint8_t>;

namespace {
constexpr SpanNs kMs = kMillisecond;
}

TEST_CASE("A connection is open from its request to its acknowledgement") {
  Frames frames;
  OpenTransfers open;
  // 0x80 to 0xF9, 14 bytes, 2 packets, of 65242.
  open.hear(frames(0, 0x1CECF980, {16, 14, 0, 2, 0xFF, 0xDA, 0xFE, 0}));
  CHECK(open.is_open(0x80, 0xF9, 0));
  CHECK_FALSE(open.is_open(0xF9, 0x80, 0));
  CHECK_FALSE(open.is_open(0x80, 0xFF, 0));
  CHECK(open.involves(0xF9, kMs));
  CHECK(open.involves(0x80, kMs));
  CHECK_FALSE(open.involves(0x26, kMs));
  open.hear(frames(900 * kMs, 0x1CEC80F9, {17, 2, 1, 0xFF, 0xFF, 0xDA, 0xFE, 0}));
  CHECK(open.is_open(0x80, 0xF9, 2150 * kMs));        // 1250 ms after the CTS
  CHECK_FALSE(open.is_open(0x80, 0xF9, 2151 * kMs));  // timed out
  open.hear(frames(2000 * kMs, 0x1CEBF980, {1, 0, 0, 0, 0, 0, 0, 0}));
  open.hear(frames(2010 * kMs, 0x1CEBF980, {2, 0, 0, 0, 0, 0, 0, 0}));
  CHECK(open.is_open(0x80, 0xF9, 2011 * kMs));
  open.hear(frames(2020 * kMs, 0x1CEC80F9, {19, 14, 0, 2, 0xFF, 0xDA, 0xFE, 0}));
  CHECK_FALSE(open.is_open(0x80, 0xF9, 2021 * kMs));
}

TEST_CASE("Either side may abort") {
  for (const std::uint32_t id : {0x1CECF980u, 0x1CEC80F9u}) {
    Frames frames;
    OpenTransfers open;
    open.hear(frames(0, 0x1CECF980, {16, 14, 0, 2, 0xFF, 0xDA, 0xFE, 0}));
    open.hear(frames(kMs, id, {255, 3, 0xFF, 0xFF, 0xFF, 0xDA, 0xFE, 0}));
    CHECK_FALSE(open.involves(0xF9, 2 * kMs));
  }
}

TEST_CASE("A broadcast is open until its last packet, or 750 ms without one") {
  Frames frames;
  OpenTransfers open;
  open.hear(frames(0, 0x1CECFF80, {32, 14, 0, 2, 0xFF, 0xDA, 0xFE, 0}));
  open.hear(frames(50 * kMs, 0x1CEBFF80, {1, 0, 0, 0, 0, 0, 0, 0}));
  CHECK(open.is_open(0x80, 0xFF, 800 * kMs));
  CHECK_FALSE(open.is_open(0x80, 0xFF, 801 * kMs));
  open.hear(frames(100 * kMs, 0x1CEBFF80, {2, 0, 0, 0, 0, 0, 0, 0}));
  CHECK_FALSE(open.is_open(0x80, 0xFF, 101 * kMs));
}

TEST_CASE("Extended transfers are told from plain ones; requests without end do not fill the memory") {
  Frames frames;
  OpenTransfers open;
  open.hear(frames(0, 0x1CC8F980, {20, 0, 8, 0, 0, 0, 0xCB, 0}));
  open.hear(frames(0, 0x1CEC80F9, {19, 14, 0, 2, 0xFF, 0xDA, 0xFE, 0}));  // ends another one
  CHECK(open.is_open(0x80, 0xF9, kMs));
  open.hear(frames(kMs, 0x1CC880F9, {23, 0, 8, 0, 0, 0, 0xCB, 0}));
  CHECK_FALSE(open.is_open(0x80, 0xF9, kMs));
  for (unsigned i = 0; i < 5000; ++i)
    open.hear(frames(kMs, 0x1CEC0000 | (i & 0x7F) << 8 | (i >> 7), {16, 14, 0, 2, 0xFF, 0xDA, 0xFE, 0}));
  open.hear(frames(2000 * kMs, 0x1CECF980, {16, 14, 0, 2, 0xFF, 0xDA, 0xFE, 0}));  // the dead make room
  CHECK(open.is_open(0x80, 0xF9, 2001 * kMs));
}
