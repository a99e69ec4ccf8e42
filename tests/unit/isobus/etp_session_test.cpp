#include <algorithm>

#include "unit/isobus/transfer_bench.hpp"

using namespace tramlog;

namespace {

constexpr Pgn kPool = 0xE700;
constexpr Address kSender = 0x80, kReceiver = 0x26;

/// One window, without the packets of `lost`.
void window(TransferBench& b, std::uint32_t bytes, std::uint8_t count, std::uint32_t offset,
            std::vector<unsigned> lost = {}) {
  b.etp_cts(kReceiver, kSender, count, offset + 1, kPool);
  b.etp_dpo(kSender, kReceiver, count, offset, kPool);
  for (unsigned s = 1; s <= count; ++s)
    if (std::find(lost.begin(), lost.end(), s) == lost.end())
      b.etp_data(kSender, kReceiver, static_cast<std::uint8_t>(s), offset, bytes);
}

}  // namespace

TEST_CASE("an object pool in three windows, one of them sent again") {
  TransferBench b;
  constexpr std::uint32_t kBytes = 5000;  // 715 packets
  b.etp_rts(kSender, kReceiver, kBytes, kPool);
  window(b, kBytes, 255, 0);
  b.etp_cts(kReceiver, kSender, 0, 0xFFFFFF, kPool);  // hold
  b.wait(900 * kMillisecond);
  window(b, kBytes, 255, 255, {100, 101, 255});
  window(b, kBytes, 156, 354);  // from the first that is missing
  window(b, kBytes, 205, 510);
  REQUIRE(b.messages.size() == 1);
  CHECK(b.messages[0].data == TransferBench::whole(kBytes));
  CHECK(b.messages[0].message.carrier == Carrier::etp);
  CHECK(b.ends.empty());
  b.etp_eoma(kReceiver, kSender, kBytes, kPool);
  REQUIRE(b.ends.size() == 1);
  CHECK(b.ends[0].outcome == TransferOutcome::complete);
  CHECK(b.ends[0].bytes_received == kBytes);
  CHECK(b.transfers.stats().malformed == 0);
  CHECK(b.messages.size() == 1);
}

TEST_CASE("single packets may be sent again before the next window") {
  TransferBench b;
  constexpr std::uint32_t kBytes = 2100;  // 300 packets
  b.etp_rts(kSender, kReceiver, kBytes, kPool);
  window(b, kBytes, 150, 0, {7, 90});
  window(b, kBytes, 1, 6);
  window(b, kBytes, 1, 89);
  window(b, kBytes, 150, 150);
  b.etp_eoma(kReceiver, kSender, kBytes, kPool);
  REQUIRE(b.messages.size() == 1);
  CHECK(b.messages[0].data == TransferBench::whole(kBytes));
  CHECK(b.only_end().outcome == TransferOutcome::complete);
}

TEST_CASE("a gap that is never repaired is out of order") {
  TransferBench b;
  constexpr std::uint32_t kBytes = 14000;  // 2000 packets
  b.etp_rts(kSender, kReceiver, kBytes, kPool);
  for (std::uint32_t at = 0; at < 2000; at += 250)
    window(b, kBytes, 250, at, at == 0 ? std::vector<unsigned>{5} : std::vector<unsigned>{});
  b.etp_eoma(kReceiver, kSender, kBytes, kPool);
  CHECK(b.messages.empty());
  const TransferEnd end = b.only_end();
  CHECK(end.outcome == TransferOutcome::out_of_order);
  CHECK(end.bytes_received == kBytes - 7);
}

TEST_CASE("data behind a missed offset do not land in the old window") {
  TransferBench b;
  constexpr std::uint32_t kBytes = 2100;
  b.etp_rts(kSender, kReceiver, kBytes, kPool);
  window(b, kBytes, 150, 0, {3});
  SECTION("the clear to send is heard") {
    b.etp_cts(kReceiver, kSender, 150, 151, kPool);
    for (unsigned s = 1; s <= 150; ++s)
      b.etp_data(kSender, kReceiver, static_cast<std::uint8_t>(s), 150, kBytes);
    CHECK(b.transfers.stats().orphan_packets == 150);
  }
  SECTION("nothing of it is heard") {
    for (unsigned s = 1; s <= 150; ++s)
      b.etp_data(kSender, kReceiver, static_cast<std::uint8_t>(s), 150, kBytes);
    CHECK(b.transfers.stats().orphan_packets == 149);
  }
  window(b, kBytes, 1, 2);
  window(b, kBytes, 150, 150);
  REQUIRE(b.messages.size() == 1);
  CHECK(b.messages[0].data == TransferBench::whole(kBytes));
}

TEST_CASE("a pool over the byte cap is followed, not kept") {
  TransferLimits limits;
  limits.message_bytes = 2000;
  TransferBench b(limits);
  constexpr std::uint32_t kBytes = 2100;
  b.etp_rts(kSender, kReceiver, kBytes, kPool);
  window(b, kBytes, 150, 0);
  window(b, kBytes, 150, 150);
  b.etp_eoma(kReceiver, kSender, kBytes, kPool);
  CHECK(b.messages.empty());
  CHECK(b.transfers.stats().messages_not_kept == 1);
  const TransferEnd end = b.only_end();
  CHECK(end.outcome == TransferOutcome::complete);
  CHECK(end.bytes_received == kBytes);
}

TEST_CASE("the largest pool starts and may jump about at no cost") {
  TransferBench b;
  b.etp_rts(kSender, kReceiver, 117'440'505, kPool);
  b.etp_dpo(kSender, kReceiver, 1, 0xFFFFFE, kPool);
  b.etp_data(kSender, kReceiver, 1, 0xFFFFFE, 117'440'505);
  b.etp_dpo(kSender, kReceiver, 1, 0, kPool);
  b.etp_data(kSender, kReceiver, 1, 0, 117'440'505);
  b.etp_eoma(kReceiver, kSender, 117'440'505, kPool);
  const TransferEnd end = b.only_end();
  CHECK(end.outcome == TransferOutcome::out_of_order);
  CHECK(end.bytes_received == 7);
  CHECK(end.bytes_expected == 117'440'505);
}

TEST_CASE("ETP aborts, timeouts and interruptions") {
  TransferBench b;
  b.etp_rts(kSender, kReceiver, 2100, kPool);
  window(b, 2100, 10, 0);
  SECTION("abort by the receiver") {
    b.abort(kReceiver, kSender, 12, kPool, 0xC800);
    const TransferEnd end = b.only_end();
    CHECK(end.outcome == TransferOutcome::aborted);
    CHECK(end.abort_reason == 12);
    CHECK(end.aborted_by == kReceiver);
    CHECK(end.bytes_received == 70);
  }
  SECTION("silence") {
    b.wait(1251 * kMillisecond);
    CHECK(b.only_end().outcome == TransferOutcome::timed_out);
  }
  SECTION("a new request to send") {
    b.etp_rts(kSender, kReceiver, 2100, kPool);
    b.transfers.finish(b.now);
    REQUIRE(b.ends.size() == 2);
    CHECK(b.ends[0].outcome == TransferOutcome::interrupted);
  }
  SECTION("a TP connection of the same pair does not touch it") {
    b.rts(kSender, kReceiver, 14, 0xCB00);
    b.transfers.finish(b.now);
    REQUIRE(b.ends.size() == 2);
    CHECK(b.ends[0].outcome == TransferOutcome::unfinished);
    CHECK(b.ends[1].outcome == TransferOutcome::unfinished);
  }
}

TEST_CASE("an ETP request to send again before any data is the same transfer") {
  TransferBench b;
  b.etp_rts(kSender, kReceiver, 2100, kPool);
  b.etp_rts(kSender, kReceiver, 2100, kPool);
  window(b, 2100, 150, 0);
  window(b, 2100, 150, 150);
  b.etp_eoma(kReceiver, kSender, 2100, kPool);
  CHECK(b.only_end().outcome == TransferOutcome::complete);
}

TEST_CASE("ETP control messages that contradict the standard are counted") {
  TransferBench b;
  b.etp_rts(kSender, kReceiver, 0, kPool);
  b.etp_rts(kSender, kReceiver, 117'440'506, kPool);
  b.etp_rts(kSender, 255, 2100, kPool);
  b.etp_control(kSender, kReceiver, 24, 0, kPool);
  b.send(0xC800, kSender, kReceiver, {20, 1, 2});
  b.send(0xC700, kSender, kReceiver, {});
  CHECK(b.transfers.stats().malformed == 6);
  b.transfers.finish(b.now);
  CHECK(b.ends.empty());

  b.etp_rts(kSender, kReceiver, 2100, kPool);  // 300 packets
  b.etp_dpo(kSender, kReceiver, 0, 0, kPool);
  b.etp_dpo(kSender, kReceiver, 2, 299, kPool);
  b.etp_dpo(kSender, kReceiver, 1, 0xFFFFFF, kPool);
  b.etp_cts(kReceiver, kSender, 2, 300, kPool);
  b.etp_cts(kReceiver, kSender, 1, 0, kPool);
  b.etp_cts(kReceiver, kSender, 1, 1, 0xCB00);
  CHECK(b.transfers.stats().malformed == 12);
  b.etp_dpo(kSender, kReceiver, 2, 0, kPool);
  b.etp_data(kSender, kReceiver, 3, 0, 2100);  // beyond what was announced
  CHECK(b.transfers.stats().malformed == 13);
}
