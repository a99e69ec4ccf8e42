#include "wire/ask_plan.hpp"

#include <catch2/catch.hpp>

#include "wire_frames.hpp"

using namespace tramlog;
using tramlog::test::Frames;
using Data = std::vector<std::uint8_t>;

namespace {

constexpr SpanNs kMs = kMillisecond;
constexpr Address kTool = 0xF9;
constexpr Pgn kSoftware = 65242, kEcu = 64965;

AskTimes times_for(std::vector<Pgn> pgns, bool ask_all = false) {
  AskTimes times;
  times.pgns = std::move(pgns);
  times.ask_all = ask_all;
  return times;
}

struct Bench {
  explicit Bench(AskTimes times) : plan(std::move(times)) { plan.set_own(kTool); }
  AskPlan plan;
  Frames frames;

  void hear(SpanNs at, std::uint32_t id, Data data) { plan.hear(frames(at, id, std::move(data))); }
  /// Sends what is due.
  bool asks(SpanNs at, Address to, Pgn pgn) {
    const auto request = plan.next(at);
    if (!request) return false;
    plan.sent(*request, at);
    return request->destination == to && request->pgn == pgn;
  }
  bool quiet(SpanNs at) { return !plan.next(at).has_value(); }
  const Answer& answer(std::size_t who = 0, std::size_t what = 0) {
    return plan.controllers().at(who).answers.at(what);
  }
};

}  // namespace

TEST_CASE("The PGNs of the identification and of the active faults are asked by default, three tries each") {
  const AskTimes times;
  CHECK(times.pgns == std::vector<Pgn>{65242, 64965, 64653, 65226});
  CHECK(times.tries == 3);
  CHECK(times.patience == 1250 * kMs);
}

TEST_CASE("A short answer ends the wait; the next request follows 100 ms after the first") {
  Bench b(times_for({kSoftware, kEcu}));
  b.plan.add(0x80, Name(1));
  REQUIRE(b.asks(0, 0x80, kSoftware));
  CHECK(b.quiet(10 * kMs));
  b.hear(30 * kMs, 0x18FEDA80, {1, '1', '.', '0', '*', 0xFF, 0xFF, 0xFF});
  CHECK(b.answer().state == AnswerState::answered);
  CHECK(b.answer().data == Data{1, '1', '.', '0', '*', 0xFF, 0xFF, 0xFF});
  CHECK(b.answer().response_time == 30 * kMs);
  CHECK_FALSE(b.answer().late());
  CHECK_FALSE(b.answer().to_all);
  CHECK(b.quiet(99 * kMs));
  REQUIRE(b.asks(100 * kMs, 0x80, kEcu));
}

TEST_CASE("The same PGN is asked at most two and a half times a second") {
  Bench b(times_for({kSoftware}));
  b.plan.add(0x80, {});
  b.plan.add(0x81, {});
  REQUIRE(b.asks(0, 0x80, kSoftware));
  b.hear(1 * kMs, 0x18FEDA80, {1, 'a', '*'});
  CHECK(b.quiet(399 * kMs));
  REQUIRE(b.asks(400 * kMs, 0x81, kSoftware));
}

TEST_CASE("No answer: three tries 1.25 s apart, then it is told so") {
  Bench b(times_for({kSoftware}));
  b.plan.add(0x80, {});
  REQUIRE(b.asks(0, 0x80, kSoftware));
  CHECK(b.quiet(1249 * kMs));
  REQUIRE(b.asks(1250 * kMs, 0x80, kSoftware));
  CHECK(b.quiet(2499 * kMs));
  REQUIRE(b.asks(2500 * kMs, 0x80, kSoftware));
  CHECK(b.quiet(3749 * kMs));
  CHECK_FALSE(b.plan.done());
  CHECK(b.quiet(3750 * kMs));
  CHECK(b.plan.done());
  CHECK(b.answer().state == AnswerState::no_answer);
  CHECK(b.answer().tries == 3);
  CHECK(b.plan.requests() == 3);
}

TEST_CASE("Not supported and access denied are answers") {
  for (const std::uint8_t control : Data{1, 2}) {
    Bench b(times_for({kSoftware}));
    b.plan.add(0x80, {});
    REQUIRE(b.asks(0, 0x80, kSoftware));
    b.hear(5 * kMs, 0x18E8FF80, {control, 0xFF, 0xFF, 0xFF, kTool, 0xDA, 0xFE, 0x00});
    CHECK(b.answer().state == (control == 1 ? AnswerState::not_supported : AnswerState::access_denied));
    CHECK(b.answer().response_time == 5 * kMs);
    CHECK(b.quiet(5000 * kMs));
    CHECK(b.plan.done());
    CHECK(b.answer().tries == 1);
  }
}

TEST_CASE(
    "Acknowledgements for others, of others and for other PGNs are not ours; without an address it is") {
  Bench b(times_for({kSoftware}));
  b.plan.add(0x80, {});
  REQUIRE(b.asks(0, 0x80, kSoftware));
  b.hear(1 * kMs, 0x18E8FF80, {1, 0xFF, 0xFF, 0xFF, 0x26, 0xDA, 0xFE, 0x00});
  b.hear(2 * kMs, 0x18E8FF81, {1, 0xFF, 0xFF, 0xFF, kTool, 0xDA, 0xFE, 0x00});
  b.hear(3 * kMs, 0x18E8FF80, {1, 0xFF, 0xFF, 0xFF, kTool, 0xC5, 0xFD, 0x00});
  b.hear(4 * kMs, 0x18E8FF80,
         {0, 0xFF, 0xFF, 0xFF, kTool, 0xDA, 0xFE, 0x00});  // positive: the answer is still to come
  CHECK(b.answer().state == AnswerState::not_asked);
  b.hear(5 * kMs, 0x18E8FF80, {1, 0xFF, 0xFF, 0xFF, 0xFF, 0xDA, 0xFE, 0x00});
  CHECK(b.answer().state == AnswerState::not_supported);
}

TEST_CASE("A busy controller is asked again 1.25 s later, to the last try") {
  Bench b(times_for({kSoftware}));
  b.plan.add(0x80, {});
  const Data busy{3, 0xFF, 0xFF, 0xFF, kTool, 0xDA, 0xFE, 0x00};
  REQUIRE(b.asks(0, 0x80, kSoftware));
  b.hear(10 * kMs, 0x18E8FF80, busy);
  CHECK(b.quiet(1259 * kMs));
  REQUIRE(b.asks(1260 * kMs, 0x80, kSoftware));
  SECTION("then it answers") {
    b.hear(1270 * kMs, 0x18FEDA80, {1, 'a', '*'});
    CHECK(b.answer().state == AnswerState::answered);
    CHECK(b.answer().tries == 2);
  }
  SECTION("it stays busy") {
    b.hear(1270 * kMs, 0x18E8FF80, busy);
    REQUIRE(b.asks(2520 * kMs, 0x80, kSoftware));
    b.hear(2530 * kMs, 0x18E8FF80, busy);
    CHECK(b.quiet(10'000 * kMs));
    CHECK(b.plan.done());
    CHECK(b.answer().state == AnswerState::busy);
  }
}

TEST_CASE("A long answer by RTS/CTS is waited for beyond the patience, and put together") {
  Bench b(times_for({kSoftware}));
  b.plan.add(0x80, {});
  REQUIRE(b.asks(0, 0x80, kSoftware));
  b.hear(1200 * kMs, 0x1CECF980, {16, 9, 0, 2, 0xFF, 0xDA, 0xFE, 0});
  b.hear(1210 * kMs, 0x1CEC80F9, {17, 2, 1, 0xFF, 0xFF, 0xDA, 0xFE, 0});
  CHECK(b.quiet(2000 * kMs));
  b.hear(2010 * kMs, 0x1CEBF980, {1, 1, 'v', '1', '.', '2', '.', '3'});
  b.hear(2020 * kMs, 0x1CEBF980, {2, '4', '*', 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
  CHECK(b.answer().state == AnswerState::answered);
  CHECK(b.answer().data == Data{1, 'v', '1', '.', '2', '.', '3', '4', '*'});
  CHECK(b.answer().carrier == Carrier::rts_cts);
  CHECK(b.answer().late());  // its RTS came after 1200 ms, over 200 ms
  CHECK(b.answer().tries == 1);
  // Nothing is asked before the transfer is acknowledged.
  CHECK(b.quiet(2021 * kMs));
  b.hear(2030 * kMs, 0x1CEC80F9, {19, 9, 0, 2, 0xFF, 0xDA, 0xFE, 0});
  CHECK(b.quiet(2031 * kMs));
  CHECK(b.plan.done());
}

TEST_CASE("An answer that is broken off is asked again and told so in the end") {
  Bench b(times_for({kSoftware}));
  b.plan.add(0x80, {});
  SpanNs at = 0;
  for (int i = 0; i < 3; ++i, at += 2000 * kMs) {
    REQUIRE(b.asks(at, 0x80, kSoftware));
    b.hear(at + 10 * kMs, 0x1CECF980, {16, 9, 0, 2, 0xFF, 0xDA, 0xFE, 0});
    b.hear(at + 20 * kMs, 0x1CECF980, {255, 2, 0xFF, 0xFF, 0xFF, 0xDA, 0xFE, 0});
  }
  CHECK(b.quiet(at));
  CHECK(b.plan.done());
  CHECK(b.answer().state == AnswerState::broken_off);
  CHECK(b.answer().tries == 3);
}

TEST_CASE("An answer by broadcast counts, also one that nobody asked for") {
  Bench b(times_for({kSoftware, kEcu}));
  b.plan.add(0x80, {});
  b.hear(0, 0x1CECFF80, {32, 9, 0, 2, 0xFF, 0xC5, 0xFD, 0});
  b.hear(50 * kMs, 0x1CEBFF80, {1, 'p', '*', 's', '*', '*', '*', 'm'});
  b.hear(100 * kMs, 0x1CEBFF80, {2, '*', '*', 0xFF, 0xFF, 0xFF, 0xFF, 0xFF});
  REQUIRE(b.asks(200 * kMs, 0x80, kSoftware));
  b.hear(210 * kMs, 0x18FEDA80, {1, 'a', '*'});
  CHECK(b.quiet(1000 * kMs));
  CHECK(b.plan.done());
  CHECK(b.answer(0, 1).state == AnswerState::answered);
  CHECK(b.answer(0, 1).tries == 0);
  CHECK(b.answer(0, 1).carrier == Carrier::bam);
  CHECK_FALSE(b.answer(0, 1).response_time);
}

TEST_CASE("In the end all are asked once for what is missing") {
  Bench b(times_for({kSoftware, kEcu}, true));
  b.plan.add(0x80, {});
  b.plan.add(0x81, {});
  // All of 81, and the second of 80, are answered before anything is asked; the first of 80 never when asked
  // directly.
  b.hear(0, 0x18FEDA81, {1, 'a', '*'});
  b.hear(0, 0x18FDC581, {'p', '*'});
  b.hear(0, 0x18FDC580, {'p', '*'});
  for (SpanNs at = 0; at < 3750 * kMs; at += 1250 * kMs) REQUIRE(b.asks(at, 0x80, kSoftware));
  REQUIRE(b.asks(3750 * kMs, kGlobalAddress, kSoftware));
  CHECK(b.quiet(4000 * kMs));
  b.hear(4000 * kMs, 0x18FEDA80, {1, 'b', '*'});
  b.hear(4010 * kMs, 0x18FEDA90, {1, 'c', '*'});  // nobody had heard it before
  CHECK(b.answer(0, 0).state == AnswerState::answered);
  CHECK(b.answer(0, 0).to_all);
  CHECK(b.answer(0, 0).response_time == 250 * kMs);
  CHECK_FALSE(b.plan.done());
  // The new one has not been asked for the second PGN: everybody once.
  REQUIRE(b.asks(5000 * kMs, kGlobalAddress, kEcu));
  CHECK(b.quiet(6249 * kMs));
  CHECK(b.quiet(6250 * kMs));
  CHECK(b.plan.done());
  REQUIRE(b.plan.controllers().size() == 3);
  CHECK(b.plan.controllers()[2].address == 0x90);
  CHECK(b.answer(2, 1).state == AnswerState::not_asked);
}

TEST_CASE("A request that is open when the own address changes is asked again and does not count") {
  Bench b(times_for({kSoftware}));
  b.plan.add(0x80, {});
  REQUIRE(b.asks(0, 0x80, kSoftware));
  b.plan.set_own(0xFA);
  CHECK(b.answer().tries == 0);
  CHECK(b.quiet(399 * kMs));
  REQUIRE(b.asks(400 * kMs, 0x80, kSoftware));
  b.hear(410 * kMs, 0x18E8FF80, {1, 0xFF, 0xFF, 0xFF, 0xF9, 0xDA, 0xFE, 0x00});  // for the address we had
  CHECK(b.answer().state == AnswerState::not_asked);
  b.hear(420 * kMs, 0x18E8FF80, {1, 0xFF, 0xFF, 0xFF, 0xFA, 0xDA, 0xFE, 0x00});
  CHECK(b.answer().state == AnswerState::not_supported);
}

TEST_CASE("Controllers are followed by their NAME; our own address is nobody") {
  Bench b(times_for({kSoftware}));
  const Data first{0x01, 0, 0, 0x7D, 0, 0x86, 0, 0xA0}, second{0x02, 0, 0, 0x7D, 0, 0x86, 0, 0xA0};
  b.plan.add(kTool, {});
  b.plan.add(0x80, {});
  b.hear(0, 0x18EEFF80, first);   // now it has a NAME
  b.hear(0, 0x18EEFF81, first);   // moves
  b.hear(0, 0x18EEFF80, second);  // another unit
  REQUIRE(b.plan.controllers().size() == 2);
  CHECK(b.plan.controllers()[0].address == 0x81);
  CHECK(b.plan.controllers()[0].name == Name(0xA00086007D000001));
  CHECK(b.plan.controllers()[1].address == 0x80);
  b.hear(0, 0x18EEFFFE, second);  // cannot claim: nobody to ask any more
  REQUIRE(b.asks(0, 0x81, kSoftware));
  b.hear(1 * kMs, 0x18FEDA81, {1, 'a', '*'});
  CHECK(b.quiet(5000 * kMs));
  CHECK(b.plan.done());
}

TEST_CASE("Units without end are not all kept") {
  Bench b(times_for({kSoftware}));
  for (unsigned i = 0; i < 2000; ++i) b.plan.add(static_cast<Address>(i % 200), Name(i + 1));
  CHECK(b.plan.controllers().size() == AskPlan::kMaxControllers);
}
