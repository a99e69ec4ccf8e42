#include "unit/isobus/transfer_bench.hpp"

using namespace tramlog;

namespace {
constexpr Pgn kSoftware = 0xFEDA;
constexpr Pgn kProcessData = 0xCB00;
}  // namespace

TEST_CASE("a broadcast comes together") {
  TransferBench b;
  const TimeNs start = b.now;
  b.bam(0x80, 17, kSoftware);
  b.tp_data(0x80, 255, 1, 17);
  b.tp_data(0x80, 255, 2, 17);
  CHECK(b.messages.empty());
  b.tp_data(0x80, 255, 3, 17);
  REQUIRE(b.messages.size() == 1);
  const Message& m = b.messages[0].message;
  CHECK(b.messages[0].data == TransferBench::whole(17));
  CHECK(m.carrier == Carrier::bam);
  CHECK(m.pgn == kSoftware);
  CHECK(m.source == 0x80);
  CHECK(m.destination == 255);
  CHECK(m.start == start);
  CHECK(m.end == start + 3 * b.step);
  CHECK(m.first_frame == 1);
  CHECK(m.last_frame == 4);
  REQUIRE(b.ends.size() == 1);  // at once, not when the bench finishes
  CHECK(b.ends[0].outcome == TransferOutcome::complete);
  CHECK(b.ends[0].bytes_received == 17);
  CHECK(b.ends[0].end == m.end);
}

TEST_CASE("the longest broadcast") {
  TransferBench b;
  b.bam(0x80, 1785, kSoftware);
  for (unsigned n = 1; n <= 255; ++n) b.tp_data(0x80, 255, n, 1785);
  REQUIRE(b.messages.size() == 1);
  CHECK(b.messages[0].data == TransferBench::whole(1785));
}

TEST_CASE("a broadcast that stops times out") {
  TransferBench b;
  b.bam(0x80, 17, kSoftware);
  b.tp_data(0x80, 255, 1, 17);
  const TimeNs last = b.now - b.step;
  SECTION("not a moment too early") {
    b.transfers.advance(last + 750 * kMillisecond);
    b.tp_data(0x80, 255, 2, 17);  // the bench's own clock lags behind: still the same session
    b.tp_data(0x80, 255, 3, 17);
    CHECK(b.messages.size() == 1);
  }
  SECTION("after 750 ms") {
    b.transfers.advance(last + 750 * kMillisecond + 1);
    b.now = last + kSecond;
    b.tp_data(0x80, 255, 2, 17);
    CHECK(b.transfers.stats().orphan_packets == 1);
    const TransferEnd end = b.only_end();
    CHECK(end.outcome == TransferOutcome::timed_out);
    CHECK(end.bytes_received == 7);
    CHECK(end.bytes_expected == 17);
    CHECK(end.end == last);
    CHECK(end.last_frame == 2);
    CHECK(b.messages.empty());
  }
}

TEST_CASE("a broadcast with a gap is out of order") {
  TransferBench b;
  b.bam(0x80, 28, kSoftware);
  b.tp_data(0x80, 255, 1, 28);
  b.tp_data(0x80, 255, 3, 28);
  SECTION("to its last packet") {
    b.tp_data(0x80, 255, 4, 28);
  }
  SECTION("and then silent") {
    b.wait(kSecond);
  }
  SECTION("and then replaced") {
    b.bam(0x80, 14, kSoftware);
    b.tp_data(0x80, 255, 1, 14);
    b.tp_data(0x80, 255, 2, 14);
    CHECK(b.messages.size() == 1);
    b.wait(2 * kSecond);
    REQUIRE(b.ends.size() == 2);
    b.ends.erase(b.ends.begin());  // the complete one was told first
  }
  const TransferEnd end = b.only_end();
  CHECK(end.outcome == TransferOutcome::out_of_order);
  CHECK(end.bytes_expected == 28);
  CHECK(end.bytes_received >= 14);
}

TEST_CASE("a new broadcast replaces the old one") {
  TransferBench b;
  b.bam(0x80, 17, kSoftware);
  b.tp_data(0x80, 255, 1, 17);
  b.bam(0x80, 14, 0xFECA);
  b.tp_data(0x80, 255, 1, 14);
  b.tp_data(0x80, 255, 2, 14);
  REQUIRE(b.messages.size() == 1);
  CHECK(b.messages[0].message.pgn == 0xFECA);
  b.transfers.finish(b.now);
  REQUIRE(b.ends.size() == 2);
  CHECK(b.ends[1].outcome == TransferOutcome::interrupted);
  CHECK(b.ends[1].pgn == kSoftware);
}

TEST_CASE("packets heard twice do no harm") {
  TransferBench b;
  b.bam(0x80, 17, kSoftware);
  for (const unsigned n : {1, 1, 2, 2, 2, 3}) b.tp_data(0x80, 255, n, 17);
  REQUIRE(b.messages.size() == 1);
  CHECK(b.messages[0].data == TransferBench::whole(17));
  CHECK(b.transfers.stats().repeated_packets == 3);
  CHECK(b.only_end().bytes_received == 17);
}

TEST_CASE("a sender may call its broadcast off") {
  TransferBench b;
  b.bam(0x80, 17, kSoftware);
  b.abort(0x80, 255, 250, kSoftware);
  const TransferEnd end = b.only_end();
  CHECK(end.outcome == TransferOutcome::aborted);
  CHECK(end.protocol == Carrier::bam);
}

TEST_CASE("a connection with windows comes together") {
  TransferBench b;
  b.rts(0x80, 0x26, 30, kProcessData);
  b.cts(0x26, 0x80, 2, 1, kProcessData);
  b.tp_data(0x80, 0x26, 1, 30);
  b.tp_data(0x80, 0x26, 2, 30);
  b.cts(0x26, 0x80, 3, 3, kProcessData);
  for (unsigned n = 3; n <= 5; ++n) b.tp_data(0x80, 0x26, n, 30);
  REQUIRE(b.messages.size() == 1);  // before the end is acknowledged
  CHECK(b.ends.empty());
  CHECK(b.messages[0].data == TransferBench::whole(30));
  CHECK(b.messages[0].message.destination == 0x26);
  b.eoma(0x26, 0x80, 30, kProcessData);
  REQUIRE(b.ends.size() == 1);
  CHECK(b.ends[0].outcome == TransferOutcome::complete);
  CHECK(b.ends[0].source == 0x80);
  CHECK(b.ends[0].destination == 0x26);
  CHECK(b.ends[0].last_frame == b.frames);
  CHECK(b.transfers.stats().malformed == 0);
}

TEST_CASE("the end is never acknowledged") {
  TransferBench b;
  b.rts(0x80, 0x26, 14, kProcessData);
  b.tp_data(0x80, 0x26, 1, 14);
  b.tp_data(0x80, 0x26, 2, 14);
  CHECK(b.messages.size() == 1);
  b.wait(2 * kSecond);
  const TransferEnd end = b.only_end();
  CHECK(end.outcome == TransferOutcome::timed_out);
  CHECK(end.bytes_received == 14);
}

TEST_CASE("holding keeps a connection open") {
  TransferBench b;
  b.rts(0x80, 0x26, 14, kProcessData);
  for (int i = 0; i < 10; ++i) {
    b.cts(0x26, 0x80, 0, 0xFF, kProcessData);
    b.wait(500 * kMillisecond);
  }
  b.cts(0x26, 0x80, 2, 1, kProcessData);
  b.tp_data(0x80, 0x26, 1, 14);
  b.tp_data(0x80, 0x26, 2, 14);
  b.eoma(0x26, 0x80, 14, kProcessData);
  CHECK(b.messages.size() == 1);
  CHECK(b.transfers.stats().malformed == 0);
  CHECK(b.only_end().outcome == TransferOutcome::complete);
}

TEST_CASE("a gap is repaired when the receiver asks again") {
  TransferBench b;
  b.rts(0x80, 0x26, 28, kProcessData);
  b.cts(0x26, 0x80, 4, 1, kProcessData);
  for (const unsigned n : {1, 3, 4}) b.tp_data(0x80, 0x26, n, 28);
  b.cts(0x26, 0x80, 3, 2, kProcessData);
  for (const unsigned n : {2, 3, 4}) b.tp_data(0x80, 0x26, n, 28);
  b.eoma(0x26, 0x80, 28, kProcessData);
  REQUIRE(b.messages.size() == 1);
  CHECK(b.messages[0].data == TransferBench::whole(28));
  CHECK(b.only_end().outcome == TransferOutcome::complete);
}

TEST_CASE("an acknowledged end with packets missing here is out of order") {
  TransferBench b;
  b.rts(0x80, 0x26, 28, kProcessData);
  for (const unsigned n : {1, 2, 4}) b.tp_data(0x80, 0x26, n, 28);
  b.eoma(0x26, 0x80, 28, kProcessData);
  CHECK(b.messages.empty());
  const TransferEnd end = b.only_end();
  CHECK(end.outcome == TransferOutcome::out_of_order);
  CHECK(end.bytes_received == 21);
}

TEST_CASE("either side may abort") {
  TransferBench b;
  b.rts(0x80, 0x26, 28, kProcessData);
  b.tp_data(0x80, 0x26, 1, 28);
  SECTION("the receiver") {
    b.abort(0x26, 0x80, 7, kProcessData);
    const TransferEnd end = b.only_end();
    CHECK(end.outcome == TransferOutcome::aborted);
    CHECK(end.abort_reason == 7);
    CHECK(end.aborted_by == 0x26);
    CHECK(end.last_frame == 3);
  }
  SECTION("the sender") {
    b.abort(0x80, 0x26, 5, kProcessData);
    const TransferEnd end = b.only_end();
    CHECK(end.outcome == TransferOutcome::aborted);
    CHECK(end.abort_reason == 5);
    CHECK(end.aborted_by == 0x80);
  }
  SECTION("not somebody else, and not another PGN") {
    b.abort(0x27, 0x80, 7, kProcessData);
    b.abort(0x26, 0x80, 7, kSoftware);
    b.abort(0x26, 0x80, 7, kProcessData, 0xC800);  // an abort of ETP
    CHECK(b.only_end().outcome == TransferOutcome::unfinished);
  }
}

TEST_CASE("an abort on the heels of the time limit still tells why") {
  TransferBench b;
  b.rts(0x80, 0x26, 28, kProcessData);
  b.now += 1260 * kMillisecond;
  const TimeNs aborted = b.now;
  SECTION("by the sender") {
    b.abort(0x80, 0x26, 3, kProcessData);
  }
  SECTION("by the receiver") {
    b.abort(0x26, 0x80, 3, kProcessData);
  }
  const TransferEnd end = b.only_end();
  CHECK(end.outcome == TransferOutcome::aborted);
  CHECK(end.abort_reason == 3);
  CHECK(end.end == aborted);
}

TEST_CASE("a late abort of another message changes nothing") {
  TransferBench b;
  b.rts(0x80, 0x26, 28, kProcessData);
  b.now += 1260 * kMillisecond;
  b.abort(0x80, 0x26, 3, kSoftware);
  CHECK(b.only_end().outcome == TransferOutcome::timed_out);
}

TEST_CASE(
    "an abort between a pair that sends the same PGN both ways ends the one that was silent for longer") {
  TransferBench b;
  b.rts(0x80, 0x26, 28, kProcessData);
  b.rts(0x26, 0x80, 28, kProcessData);
  const bool first_is_busy = GENERATE(true, false);
  const Address busy = first_is_busy ? 0x80 : 0x26;
  b.tp_data(busy, first_is_busy ? 0x26 : 0x80, 1, 28);
  b.abort(0x26, 0x80, 3, kProcessData);
  b.transfers.finish(b.now);
  REQUIRE(b.ends.size() == 2);
  CHECK(b.ends[0].outcome == TransferOutcome::aborted);
  CHECK(b.ends[0].source != busy);
  CHECK(b.ends[0].aborted_by == 0x26);
  CHECK(b.ends[1].source == busy);
}

TEST_CASE("two connections of the same pair in both directions") {
  TransferBench b;
  b.rts(0x80, 0x26, 14, kProcessData);
  b.rts(0x26, 0x80, 21, kProcessData);
  b.tp_data(0x80, 0x26, 1, 14);
  b.tp_data(0x26, 0x80, 1, 21);
  b.tp_data(0x80, 0x26, 2, 14);
  b.tp_data(0x26, 0x80, 2, 21);
  b.eoma(0x26, 0x80, 14, kProcessData);  // ends the first only
  REQUIRE(b.ends.size() == 1);
  CHECK(b.ends[0].source == 0x80);
  b.tp_data(0x26, 0x80, 3, 21);
  b.eoma(0x80, 0x26, 21, kProcessData);
  REQUIRE(b.ends.size() == 2);
  CHECK(b.ends[1].source == 0x26);
  CHECK(b.messages.size() == 2);
  CHECK(b.ends[1].outcome == TransferOutcome::complete);
}

TEST_CASE("a connection beside a broadcast of the same sender") {
  TransferBench b;
  b.bam(0x80, 14, kSoftware);
  b.rts(0x80, 0x26, 14, kProcessData);
  b.tp_data(0x80, 255, 1, 14);
  b.tp_data(0x80, 0x26, 1, 14);
  b.tp_data(0x80, 255, 2, 14);
  b.tp_data(0x80, 0x26, 2, 14);
  b.eoma(0x26, 0x80, 14, kProcessData);
  CHECK(b.messages.size() == 2);
  REQUIRE(b.ends.size() == 2);
  CHECK(b.ends[0].outcome == TransferOutcome::complete);
  CHECK(b.ends[1].outcome == TransferOutcome::complete);
}

TEST_CASE("a request to send again before any data is the same transfer") {
  TransferBench b;
  b.rts(0x80, 0x26, 14, kProcessData);
  b.wait(kSecond);
  b.rts(0x80, 0x26, 14, kProcessData);
  b.wait(kSecond);
  b.tp_data(0x80, 0x26, 1, 14);
  b.tp_data(0x80, 0x26, 2, 14);
  b.eoma(0x26, 0x80, 14, kProcessData);
  const TransferEnd end = b.only_end();
  CHECK(end.outcome == TransferOutcome::complete);
  CHECK(end.first_frame == 1);
}

TEST_CASE("a request to send in the middle, or a different one, interrupts") {
  TransferBench b;
  b.rts(0x80, 0x26, 14, kProcessData);
  SECTION("after data") {
    b.tp_data(0x80, 0x26, 1, 14);
    b.rts(0x80, 0x26, 14, kProcessData);
  }
  SECTION("other size") {
    b.rts(0x80, 0x26, 15, kProcessData);
  }
  SECTION("other PGN") {
    b.rts(0x80, 0x26, 14, kSoftware);
  }
  b.transfers.finish(b.now);
  REQUIRE(b.ends.size() == 2);
  CHECK(b.ends[0].outcome == TransferOutcome::interrupted);
  CHECK(b.ends[1].outcome == TransferOutcome::unfinished);
}

TEST_CASE("control messages that contradict the standard are counted") {
  TransferBench b;
  b.bam(0x80, 0, kSoftware);
  b.bam(0x80, 1786, kSoftware);
  b.send(0xEC00, 0x80, 255, {32, 14, 0, 3, 0xFF, 0xDA, 0xFE, 0});     // three packets for 14 bytes
  b.send(0xEC00, 0x80, 255, {16, 14, 0, 2, 0xFF, 0xDA, 0xFE, 0});     // connection to all
  b.send(0xEC00, 0x80, 0x26, {32, 14, 0, 2, 0xFF, 0xDA, 0xFE, 0});    // broadcast to one
  b.send(0xEC00, 0x80, 255, {32, 14, 0, 2, 0xFF, 0xDA, 0xFE, 0xFF});  // no PGN
  b.send(0xEC00, 0x80, 255, {32, 14, 0, 2, 0xFF, 0xDA, 0xFE});        // short
  b.send(0xEC00, 0x80, 255, {});
  b.send(0xEC00, 0x80, 255, {99, 14, 0, 2, 0xFF, 0xDA, 0xFE, 0});  // no such control byte
  b.send(0xEB00, 0x80, 255, {});
  CHECK(b.transfers.stats().malformed == 10);
  b.transfers.finish(b.now);
  CHECK(b.ends.empty());
}

TEST_CASE("packets outside the message are ignored and counted") {
  TransferBench b;
  b.bam(0x80, 14, kSoftware);
  b.tp_data(0x80, 255, 1, 14);
  b.send(0xEB00, 0x80, 255, {0, 1, 2, 3, 4, 5, 6, 7});
  b.send(0xEB00, 0x80, 255, {3, 1, 2, 3, 4, 5, 6, 7});
  CHECK(b.transfers.stats().malformed == 2);
  b.tp_data(0x80, 255, 2, 14);
  CHECK(b.messages.size() == 1);

  b.rts(0x80, 0x26, 14, kProcessData);
  b.cts(0x26, 0x80, 3, 1, kProcessData);  // beyond the message
  b.cts(0x26, 0x80, 1, 0, kProcessData);  // packets count from 1
  b.cts(0x26, 0x80, 2, 1, kSoftware);     // another PGN
  CHECK(b.transfers.stats().malformed == 5);
}

TEST_CASE("a short frame will do if it holds what the message still needs") {
  TransferBench b;
  b.bam(0x80, 9, kSoftware);
  b.tp_data(0x80, 255, 1, 9);
  b.send(0xEB00, 0x80, 255, {2, TransferBench::content(7)});
  CHECK(b.transfers.stats().malformed == 1);
  b.send(0xEB00, 0x80, 255, {2, TransferBench::content(7), TransferBench::content(8)});
  REQUIRE(b.messages.size() == 1);
  CHECK(b.messages[0].data == TransferBench::whole(9));
}

TEST_CASE("data without a beginning are orphans") {
  TransferBench b;
  b.tp_data(0x80, 255, 2, 14);
  b.tp_data(0x80, 0x26, 2, 14);
  b.cts(0x26, 0x80, 2, 1, kProcessData);
  b.eoma(0x26, 0x80, 14, kProcessData);
  b.transfers.finish(b.now);
  CHECK(b.transfers.stats().orphan_packets == 2);
  CHECK(b.ends.empty());
}

TEST_CASE("texts of abort reasons") {
  CHECK(abort_reason_text(3) == "timeout");
  CHECK(abort_reason_text(9) == "message over 1785 bytes");
  CHECK(abort_reason_text(9, Carrier::etp) == "unexpected data packet offset");
  CHECK(abort_reason_text(15) == "clear to send: asks beyond the message");
  CHECK(abort_reason_text(16) == "reserved (reason 16)");
  CHECK(abort_reason_text(250) == "other");
  CHECK(abort_reason_text(255) == "reserved (reason 255)");
}
