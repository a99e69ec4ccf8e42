#include "unit/isobus/transfer_bench.hpp"

using namespace tramlog;

namespace {
constexpr Pgn kPosition = 129029;
}

TEST_CASE("PGNs that travel as fast packet") {
  for (const Pgn pgn : {129029, 129044, 129540, 129542, 130577, 126996, 126998, 126464, 126208})
    CHECK(Transfers::is_fast_packet(pgn));
  for (const Pgn pgn : {129025, 129026, 127250, 0xFECA, 0xEC00}) CHECK_FALSE(Transfers::is_fast_packet(pgn));
}

TEST_CASE("a fast packet comes together") {
  TransferBench b;
  for (unsigned k = 0; k < 7; ++k) b.fast(kPosition, 0x1C, 3, k, 43);
  REQUIRE(b.messages.size() == 1);
  CHECK(b.messages[0].data == TransferBench::whole(43));
  CHECK(b.messages[0].message.carrier == Carrier::fast_packet);
  CHECK(b.messages[0].message.pgn == kPosition);
  CHECK(b.messages[0].message.last_frame == 7);
  CHECK(b.only_end().outcome == TransferOutcome::complete);
}

TEST_CASE("shortest and longest fast packet") {
  TransferBench b;
  b.fast(kPosition, 0x1C, 0, 0, 9);
  b.fast(kPosition, 0x1C, 0, 1, 9);
  for (unsigned k = 0; k < 32; ++k) b.fast(kPosition, 0x1C, 1, k, 223);
  REQUIRE(b.messages.size() == 2);
  CHECK(b.messages[0].data == TransferBench::whole(9));
  CHECK(b.messages[1].data == TransferBench::whole(223));
}

TEST_CASE("a fast packet that fits into its first frame, or needs a second for two bytes") {
  TransferBench b;
  b.fast(129540, 0x1C, 0, 0, 3);
  b.fast(129540, 0x1C, 1, 0, 6);
  b.fast(129540, 0x1C, 2, 0, 8);
  b.fast(129540, 0x1C, 2, 1, 8);
  REQUIRE(b.messages.size() == 3);
  CHECK(b.messages[0].data == TransferBench::whole(3));
  CHECK(b.messages[1].data == TransferBench::whole(6));
  CHECK(b.messages[2].data == TransferBench::whole(8));
  CHECK(b.messages[2].message.last_frame == 4);
  CHECK(b.transfers.stats().malformed == 0);
}

TEST_CASE("fast packets of several sequences, PGNs and senders at once") {
  TransferBench b;
  for (unsigned k = 0; k < 4; ++k) {
    for (unsigned sequence = 0; sequence < 8; ++sequence) {
      b.fast(kPosition, 0x1C, sequence, k, 26 - sequence / 2);
      b.fast(129540, 0x1C, sequence, k, 26);
      b.fast(kPosition, 0x1D, sequence, k, 25);
    }
  }
  CHECK(b.messages.size() == 24);
  for (const auto& heard : b.messages) CHECK(heard.data == TransferBench::whole(heard.data.size()));
  CHECK(b.transfers.stats().orphan_packets == 0);
}

TEST_CASE("a lost middle frame is out of order") {
  TransferBench b;
  for (const unsigned k : {0, 1, 3}) b.fast(kPosition, 0x1C, 3, k, 26);
  const TransferEnd end = b.only_end();
  CHECK(end.outcome == TransferOutcome::out_of_order);
  CHECK(end.bytes_received == 19);
  CHECK(b.messages.empty());
}

TEST_CASE("a fast packet that stops, or starts anew") {
  TransferBench b;
  b.fast(kPosition, 0x1C, 3, 0, 26);
  b.fast(kPosition, 0x1C, 3, 1, 26);
  SECTION("stops") {
    b.wait(kSecond);
    CHECK(b.only_end().outcome == TransferOutcome::timed_out);
  }
  SECTION("starts anew") {
    for (unsigned k = 0; k < 4; ++k) b.fast(kPosition, 0x1C, 3, k, 26);
    CHECK(b.messages.size() == 1);
    b.transfers.finish(b.now);
    REQUIRE(b.ends.size() == 2);
    CHECK(b.ends[1].outcome == TransferOutcome::interrupted);
    CHECK(b.ends[1].bytes_received == 13);
  }
  SECTION("repeats a frame") {
    for (const unsigned k : {1, 2, 2, 3}) b.fast(kPosition, 0x1C, 3, k, 26);
    CHECK(b.messages.size() == 1);
    CHECK(b.only_end().outcome == TransferOutcome::complete);
  }
}

TEST_CASE("damaged fast packets are counted") {
  TransferBench b;
  b.fast(kPosition, 0x1C, 0, 0, 224);
  b.fast(kPosition, 0x1C, 0, 0, 0);
  b.send(kPosition, 0x1C, 255, {0x20, 43, 1, 2});
  b.send(kPosition, 0x1C, 255, {});
  CHECK(b.transfers.stats().malformed == 4);
  b.fast(kPosition, 0x1C, 0, 1, 43);
  CHECK(b.transfers.stats().orphan_packets == 1);
  b.fast(kPosition, 0x1C, 0, 0, 9);
  b.fast(kPosition, 0x1C, 0, 2, 9);  // beyond the message
  CHECK(b.transfers.stats().malformed == 5);
  b.fast(kPosition, 0x1C, 0, 1, 9);
  CHECK(b.messages.size() == 1);
}
