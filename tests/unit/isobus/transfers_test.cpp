#include <limits>
#include <random>
#include <set>

#include "unit/isobus/transfer_bench.hpp"

using namespace tramlog;

namespace {
constexpr Pgn kSoftware = 0xFEDA;
constexpr Pgn kProcessData = 0xCB00;
}  // namespace

TEST_CASE("two hundred sessions at once") {
  TransferBench b;
  b.step = 100 * kMicrosecond;
  constexpr unsigned kBytes = 50;  // eight packets
  for (Address a = 0; a < 100; ++a) b.bam(a, kBytes, kSoftware);
  for (Address a = 0; a < 100; ++a) b.rts(a, static_cast<Address>(a + 100), kBytes + a, kProcessData);
  for (unsigned n = 1; n <= 8; ++n) {
    for (Address a = 0; a < 100; ++a) {
      b.tp_data(a, 255, n, kBytes);
      b.tp_data(a, static_cast<Address>(a + 100), n, kBytes + a);
    }
  }
  for (unsigned n = 9; n <= 22; ++n)
    for (Address a = 0; a < 100; ++a)
      if ((kBytes + a + 6) / 7 >= n) b.tp_data(a, static_cast<Address>(a + 100), n, kBytes + a);
  for (Address a = 0; a < 100; ++a) b.eoma(static_cast<Address>(a + 100), a, kBytes + a, kProcessData);
  CHECK(b.messages.size() == 200);
  for (const auto& heard : b.messages) CHECK(heard.data == TransferBench::whole(heard.data.size()));
  CHECK(b.ends.size() == 200);
  for (const TransferEnd& end : b.ends) CHECK(end.outcome == TransferOutcome::complete);
  CHECK(b.transfers.stats().orphan_packets == 0);
  CHECK(b.transfers.stats().malformed == 0);
}

TEST_CASE("buses are kept apart") {
  TransferBench b;
  b.bam(0x80, 14, kSoftware);
  b.tp_data(0x80, 255, 1, 14);
  b.bus = 1;
  b.tp_data(0x80, 255, 2, 14);
  CHECK(b.messages.empty());
  CHECK(b.transfers.stats().orphan_packets == 1);
  b.bus = 0;
  b.tp_data(0x80, 255, 2, 14);
  CHECK(b.messages.size() == 1);
}

TEST_CASE("other frames are none of our business") {
  TransferBench b;
  b.send(0xFECA, 0x80, 255, {1, 2, 3, 4, 5, 6, 7, 8});
  const std::uint8_t data[] = {32, 14, 0, 2, 0xFF, 0xDA, 0xFE, 0};
  Event event;
  event.time = b.now;
  event.data = data;
  event.len = 8;
  event.id = make_id(7, 0xEC00, 0x80, 255);
  for (const unsigned flags : {0u, kExtendedId | kRemote + 0u, kExtendedId | kFd + 0u}) {
    event.flags = static_cast<std::uint8_t>(flags);
    b.transfers.take(event);
  }
  b.transfers.finish(b.now);
  CHECK(b.ends.empty());
  CHECK(b.transfers.stats().malformed == 0);
}

TEST_CASE("what the capture cut off is not finished; what fell silent before is timed out") {
  TransferBench b;
  b.rts(0x80, 0x26, 14, kProcessData);
  b.now += 1100 * kMillisecond;
  b.bam(0x81, 14, kSoftware);
  b.now += 200 * kMillisecond;
  b.transfers.finish(b.now);
  REQUIRE(b.ends.size() == 2);
  CHECK(b.ends[0].outcome == TransferOutcome::timed_out);
  CHECK(b.ends[0].source == 0x80);
  CHECK(b.ends[1].outcome == TransferOutcome::unfinished);
}

TEST_CASE("a failure is held back until a loss would be known") {
  TransferBench b;
  b.bam(0x80, 21, kSoftware);
  b.tp_data(0x80, 255, 1, 21);
  b.tp_data(0x80, 255, 3, 21);
  const TimeNs decided = b.now - b.step;
  CHECK(b.ends.empty());
  SECTION("no loss comes") {
    b.transfers.advance(decided + 1200 * kMillisecond);
    CHECK(b.ends.empty());
    b.transfers.advance(decided + 1200 * kMillisecond + 1);
    REQUIRE(b.ends.size() == 1);
    CHECK(b.ends[0].outcome == TransferOutcome::out_of_order);
  }
  SECTION("the recorder tells that it lost frames inside") {
    b.transfers.note_loss(0, decided - kSecond, decided + kSecond / 2);
    CHECK(b.only_end().outcome == TransferOutcome::unseen);
  }
  SECTION("the loss was afterwards") {
    b.transfers.note_loss(0, decided + 1, decided + kSecond);
    CHECK(b.only_end().outcome == TransferOutcome::out_of_order);
  }
  SECTION("the loss was before") {
    b.transfers.note_loss(0, decided - 10 * kSecond, decided - 9 * kSecond);
    CHECK(b.only_end().outcome == TransferOutcome::out_of_order);
  }
  SECTION("the loss was on another bus") {
    b.transfers.note_loss(1, decided - kSecond, decided + kSecond / 2);
    CHECK(b.only_end().outcome == TransferOutcome::out_of_order);
  }
}

TEST_CASE("failures are told at once if that is wanted") {
  TransferLimits limits;
  limits.loss_notice_delay = 0;
  TransferBench b(limits);
  b.rts(0x80, 0x26, 14, kProcessData);
  b.abort(0x26, 0x80, 1, kProcessData);
  REQUIRE(b.ends.size() == 1);
  CHECK(b.ends[0].outcome == TransferOutcome::aborted);
}

TEST_CASE("sessions that our own loss touched end complete or unseen") {
  TransferBench b;
  b.rts(0x80, 0x26, 21, kProcessData);
  b.tp_data(0x80, 0x26, 1, 21);
  const TimeNs from = b.now;
  b.now += 300 * kMillisecond;
  b.transfers.note_loss(0, from, b.now);
  SECTION("complete") {
    b.tp_data(0x80, 0x26, 2, 21);
    b.tp_data(0x80, 0x26, 3, 21);
    b.eoma(0x26, 0x80, 21, kProcessData);
    CHECK(b.only_end().outcome == TransferOutcome::complete);
  }
  SECTION("acknowledged, but not heard in full") {
    b.tp_data(0x80, 0x26, 3, 21);
    b.eoma(0x26, 0x80, 21, kProcessData);
    CHECK(b.only_end().outcome == TransferOutcome::unseen);
  }
  SECTION("silent") {
    b.wait(5 * kSecond);
    CHECK(b.only_end().outcome == TransferOutcome::unseen);
  }
  SECTION("aborted: the reason stays") {
    b.abort(0x26, 0x80, 7, kProcessData);
    const TransferEnd end = b.only_end();
    CHECK(end.outcome == TransferOutcome::unseen);
    CHECK(end.abort_reason == 7);
    CHECK(end.aborted_by == 0x26);
  }
  SECTION("interrupted") {
    b.rts(0x80, 0x26, 21, kProcessData);
    REQUIRE(b.ends.size() == 1);
    CHECK(b.ends[0].outcome == TransferOutcome::unseen);
  }
  SECTION("cut off") {
    CHECK(b.only_end().outcome == TransferOutcome::unseen);
  }
}

TEST_CASE("a session that begins inside a known loss is touched by it, a later one is not") {
  TransferBench b;
  b.transfers.note_loss(0, b.now - kSecond, b.now + kSecond);
  b.rts(0x80, 0x26, 21, kProcessData);
  b.now += 2 * kSecond;
  b.rts(0x80, 0x26, 21, kProcessData);
  b.now += 2 * kSecond;
  b.transfers.finish(b.now);
  REQUIRE(b.ends.size() == 2);
  CHECK(b.ends[0].outcome == TransferOutcome::unseen);
  CHECK(b.ends[1].outcome == TransferOutcome::timed_out);
}

TEST_CASE("a loss that is told late does not touch a session that began after it") {
  TransferBench b;
  b.rts(0x80, 0x26, 21, kProcessData);
  b.transfers.note_loss(0, b.now - kSecond, b.now - kSecond / 2);
  b.wait(2 * kSecond);
  CHECK(b.only_end().outcome == TransferOutcome::timed_out);
}

TEST_CASE("what follows a lost beginning is no failure") {
  TransferBench b;
  b.transfers.note_loss(0, b.now - kSecond, b.now);
  for (unsigned n = 4; n <= 9; ++n) b.tp_data(0x80, 255, n, 63);
  b.fast(129029, 0x1C, 2, 3, 43);
  b.transfers.finish(b.now);
  CHECK(b.ends.empty());
  CHECK(b.transfers.stats().orphan_packets == 7);
}

TEST_CASE("a frame that the capture cut short is our loss") {
  TransferBench b;
  b.bam(0x80, 21, kSoftware);
  const std::uint8_t data[] = {1, 2};
  Event event;
  event.time = b.now;
  event.data = data;
  event.len = 2;
  event.id = make_id(7, 0xEB00, 0x80, 255);
  event.flags = kExtendedId | kShortData;
  b.transfers.take(event);
  b.tp_data(0x80, 255, 2, 21);
  b.tp_data(0x80, 255, 3, 21);
  CHECK(b.only_end().outcome == TransferOutcome::unseen);
}

TEST_CASE("beyond the cap the session that was silent for longest is given up") {
  TransferLimits limits;
  limits.sessions = 3;
  TransferBench b(limits);
  b.rts(0x80, 0x26, 14, kProcessData);
  b.bam(0x81, 14, kSoftware);
  b.bam(0x82, 14, kSoftware);
  b.cts(0x26, 0x80, 2, 1, kProcessData);
  b.bam(0x83, 14, kSoftware);
  CHECK(b.transfers.stats().sessions_given_up == 1);
  REQUIRE(b.ends.size() == 1);
  CHECK(b.ends[0].outcome == TransferOutcome::unseen);
  CHECK(b.ends[0].source == 0x81);
  b.tp_data(0x80, 0x26, 1, 14);
  b.tp_data(0x80, 0x26, 2, 14);
  CHECK(b.messages.size() == 1);
}

TEST_CASE("payload over the total cap is not kept, and room comes back") {
  TransferLimits limits;
  limits.total_bytes = 50;
  TransferBench b(limits);
  b.bam(0x80, 40, kSoftware);
  b.bam(0x81, 20, kSoftware);  // does not fit beside it
  for (unsigned n = 1; n <= 3; ++n) b.tp_data(0x81, 255, n, 20);
  CHECK(b.messages.empty());
  CHECK(b.transfers.stats().messages_not_kept == 1);
  for (unsigned n = 1; n <= 6; ++n) b.tp_data(0x80, 255, n, 40);
  CHECK(b.messages.size() == 1);
  b.bam(0x81, 20, kSoftware);
  for (unsigned n = 1; n <= 3; ++n) b.tp_data(0x81, 255, n, 20);
  CHECK(b.messages.size() == 2);
  for (const TransferEnd& end : b.ends) CHECK(end.outcome == TransferOutcome::complete);
}

TEST_CASE("no verdict across a clock that was set back") {
  TransferBench b;
  b.rts(0x80, 0x26, 14, kProcessData);
  b.now -= kHour;
  b.bam(0x81, 14, kSoftware);
  REQUIRE(b.ends.size() == 1);
  CHECK(b.ends[0].outcome == TransferOutcome::unseen);
  b.tp_data(0x81, 255, 1, 14);
  b.tp_data(0x81, 255, 2, 14);
  CHECK(b.messages.size() == 1);
}

TEST_CASE("any times may come") {
  TransferBench b;
  b.step = 0;
  for (const TimeNs time : {std::numeric_limits<TimeNs>::max(), std::numeric_limits<TimeNs>::min(), TimeNs{0},
                            std::numeric_limits<TimeNs>::max()}) {
    b.now = time;
    b.rts(0x80, 0x26, 14, kProcessData);
    b.transfers.note_loss(0, time, time);
  }
  b.transfers.finish(std::numeric_limits<TimeNs>::min());
  CHECK(b.ends.size() == 4);
}

TEST_CASE("many failures at once are all told") {
  TransferLimits limits;
  TransferBench b(limits);
  b.step = 0;
  for (unsigned round = 0; round < 10; ++round) {
    for (unsigned a = 0; a < 250; ++a) {
      b.rts(static_cast<Address>(a), 251, 14, kProcessData);
      b.abort(251, static_cast<Address>(a), 1, kProcessData);
    }
  }
  b.transfers.finish(b.now);
  CHECK(b.ends.size() == 2500);
}

TEST_CASE("with frames lost at random a message is handed over only if every packet was heard") {
  std::mt19937 engine(20260407);
  const auto random = [&] { return static_cast<std::uint32_t>(engine()); };
  std::uint64_t complete = 0, failed = 0;
  for (int round = 0; round < 300; ++round) {
    TransferBench b;
    b.step = kMillisecond;
    const unsigned bytes = 9 + random() % 200;
    const unsigned packets = (bytes + 6) / 7;
    const unsigned lose_one_in = 2 + random() % 40;
    const auto heard = [&] { return random() % lose_one_in != 0; };
    bool all_bam = true, all_rts = true, all_fast = true;
    if (heard())
      b.bam(0x80, bytes, kSoftware);
    else
      all_bam = false;
    if (heard())
      b.rts(0x80, 0x26, bytes, kProcessData);
    else
      all_rts = false;
    for (unsigned n = 1; n <= packets; ++n) {
      if (heard())
        b.tp_data(0x80, 255, n, bytes);
      else
        all_bam = false;
      bool this_one = false;
      for (unsigned tries = 0; tries <= round % 3u; ++tries) {
        if (!heard()) continue;
        this_one = true;
        b.tp_data(0x80, 0x26, n, bytes);
      }
      all_rts = all_rts && this_one;
    }
    if (heard()) b.eoma(0x26, 0x80, bytes, kProcessData);
    for (unsigned k = 0; k <= (bytes - 6 + 6) / 7; ++k) {
      if (heard())
        b.fast(129540, 0x1C, 1, k, bytes);
      else
        all_fast = false;
    }
    b.transfers.finish(b.now);
    std::set<Carrier> delivered;
    for (const auto& m : b.messages) {
      REQUIRE(m.data == TransferBench::whole(bytes));
      REQUIRE(delivered.insert(m.message.carrier).second);
    }
    REQUIRE((delivered.count(Carrier::bam) != 0) == all_bam);
    REQUIRE((delivered.count(Carrier::rts_cts) != 0) == all_rts);
    REQUIRE((delivered.count(Carrier::fast_packet) != 0) == all_fast);
    for (const TransferEnd& end : b.ends) {
      REQUIRE(end.bytes_received <= end.bytes_expected);
      if (end.outcome == TransferOutcome::complete) {
        ++complete;
        REQUIRE(delivered.count(end.protocol) != 0);
      } else {
        ++failed;
      }
    }
  }
  CHECK(complete > 50);
  CHECK(failed > 50);
}

TEST_CASE("noise crashes nothing and stays within the caps") {
  std::mt19937 engine(11);
  const auto random = [&] { return static_cast<std::uint32_t>(engine()); };
  TransferLimits limits;
  limits.sessions = 20;
  limits.total_bytes = 20'000;
  TransferBench b(limits);
  b.step = kMillisecond;
  const Pgn pgns[] = {0xEC00, 0xEB00, 0xC800, 0xC700, 129029};
  const std::uint8_t controls[] = {16, 17, 19, 20, 21, 22, 23, 32, 255, 1, 2, 3};
  for (int i = 0; i < 100'000; ++i) {
    std::vector<std::uint8_t> data(random() % 16 == 0 ? random() % 9 : 8);
    for (auto& byte : data) byte = static_cast<std::uint8_t>(random() % 4 != 0 ? random() % 5 : random());
    if (!data.empty()) data[0] = controls[random() % std::size(controls)];
    b.send(pgns[random() % std::size(pgns)], static_cast<Address>(random() % 4),
           random() % 3 == 0 ? Address{255} : static_cast<Address>(random() % 4), data);
    if (b.messages.size() > 100) b.messages.clear();
  }
  b.transfers.finish(b.now);
  for (const TransferEnd& end : b.ends) REQUIRE(end.bytes_received <= end.bytes_expected);
  CHECK(b.ends.size() > 100);
}
