#include "wire/claim_machine.hpp"

#include <catch2/catch.hpp>

#include "wire_frames.hpp"

using namespace tramlog;
using tramlog::test::Frames;

namespace {

constexpr SpanNs kMs = kMillisecond;
using Data = std::vector<std::uint8_t>;

// Fact sheet 2.1: identity 77 (4D 00 + 5 bits), manufacturer 1001 = 0x3E9: its low 3 bits (001) in B3, high 8
// (7D) in B4; function 129 = 81; B8 = 80 for the self-configurable bit, group 0.
const Data kOwnName{0x4D, 0x00, 0x20, 0x7D, 0x00, 0x81, 0x00, 0x80};
const Data kLowerName{0x01, 0x00, 0x00, 0x7D, 0x00, 0x86, 0x00, 0x20};   // B8 20 < 80
const Data kHigherName{0x01, 0x00, 0x00, 0x7D, 0x00, 0x86, 0x00, 0xA0};  // B8 A0 > 80
const Data kAskClaims{0x00, 0xEE, 0x00};

struct Bench {
  unsigned dice = 0;
  ClaimMachine machine{service_tool_name(1001, 77), [this] { return static_cast<std::uint8_t>(dice); }};
  Frames frames;

  void hear(SpanNs at, std::uint32_t id, Data data, unsigned flags = kExtendedId) {
    machine.hear(frames(at, id, std::move(data), flags));
  }
  void expect(std::uint32_t id, const Data& data) {
    const auto out = machine.take_frames();
    REQUIRE(out.size() == 1);
    CHECK(out[0].id == id);
    CHECK(Data(out[0].data.begin(), out[0].data.begin() + out[0].len) == data);
  }
  void expect_silence() { CHECK(machine.take_frames().empty()); }
  /// To the end of the claim of 249, begun at 0.
  void settle() {
    machine.start(0);
    machine.advance(250 * kMs);
    machine.advance(500 * kMs);
    machine.take_frames();
    REQUIRE(machine.state() == ClaimState::holding);
  }
};

}  // namespace

TEST_CASE("A service tool asks, waits 250 ms and its delay, claims 249, waits 250 ms more") {
  Bench b;
  b.dice = 100;  // 100 x 0.6 ms = 60 ms
  b.machine.start(0);
  b.expect(0x18EAFFFE, kAskClaims);
  CHECK(b.machine.next_deadline() == 310 * kMs);
  b.machine.advance(309 * kMs);
  b.expect_silence();
  b.machine.advance(310 * kMs);
  b.expect(0x18EEFFF9, kOwnName);
  CHECK(b.machine.address() == 249);
  CHECK(b.machine.state() == ClaimState::claiming);
  b.machine.advance(559 * kMs);
  CHECK(b.machine.state() == ClaimState::claiming);
  b.machine.advance(560 * kMs);
  CHECK(b.machine.state() == ClaimState::holding);
  b.expect_silence();
  CHECK_FALSE(b.machine.next_deadline());
}

TEST_CASE("Taken addresses are passed over, claimed or only talked from") {
  Bench b;
  b.machine.start(0);
  b.machine.take_frames();
  b.hear(10 * kMs, 0x18EEFFF9, kHigherName);    // 249 claimed, by a NAME that would lose
  b.hear(20 * kMs, 0x18FECAFA, Data(8, 0xFF));  // 250 talks
  b.hear(30 * kMs, 0x0CFE4880, Data(8, 0xFF));  // 128 talks
  b.machine.advance(250 * kMs);
  b.expect(0x18EEFF81, kOwnName);  // 129
}

TEST_CASE("A unit that moves frees the address it had") {
  Bench b;
  b.machine.start(0);
  b.machine.take_frames();
  b.hear(10 * kMs, 0x18EEFFF9, kHigherName);
  b.hear(20 * kMs, 0x18EEFF90, kHigherName);
  CHECK(b.machine.others().size() == 1);
  CHECK(b.machine.others().at(0x90).raw() == 0xA00086007D000001);
  b.machine.advance(250 * kMs);
  b.expect(0x18EEFFF9, kOwnName);
}

TEST_CASE("The address is defended against a higher NAME") {
  Bench b;
  b.settle();
  b.hear(600 * kMs, 0x18EEFFF9, kHigherName);
  b.expect(0x18EEFFF9, kOwnName);
  CHECK(b.machine.state() == ClaimState::holding);
}

TEST_CASE("A lower NAME takes the address, and the tool claims another one, quiet for 250 ms again") {
  Bench b;
  b.settle();
  b.hear(600 * kMs, 0x18EEFFF9, kLowerName);
  b.expect(0x18EEFFFA, kOwnName);
  CHECK(b.machine.state() == ClaimState::claiming);
  CHECK(b.machine.next_deadline() == 850 * kMs);
  b.machine.advance(850 * kMs);
  CHECK(b.machine.state() == ClaimState::holding);
  CHECK(b.machine.address() == 250);
}

TEST_CASE("Requests for the claim are answered: to all, to its address, to no other") {
  Bench b;
  b.settle();
  b.hear(600 * kMs, 0x18EAFF26, kAskClaims);
  b.expect(0x18EEFFF9, kOwnName);
  b.hear(601 * kMs, 0x18EAF926, kAskClaims);
  b.expect(0x18EEFFF9, kOwnName);
  b.hear(602 * kMs, 0x18EA8026, kAskClaims);
  b.expect_silence();
  b.hear(603 * kMs, 0x18EAFF26, {0xDA, 0xFE, 0x00});  // for something else
  b.expect_silence();
}

TEST_CASE("No free address: cannot claim, after the delay, and answers as such") {
  Bench b;
  b.dice = 10;  // 6 ms
  b.machine.start(0);
  b.machine.take_frames();
  for (unsigned address = 128; address <= 250; ++address) b.hear(kMs, 0x18FECA00 + address, Data(8, 0xFF));
  b.machine.advance(256 * kMs);
  CHECK(b.machine.state() == ClaimState::refused);
  CHECK_FALSE(b.machine.reason().empty());
  CHECK(b.machine.address() == kNullAddress);
  b.expect_silence();
  b.machine.advance(262 * kMs);
  b.expect(0x18EEFFFE, kOwnName);
  b.hear(900 * kMs, 0x18EAFFFE, kAskClaims);
  b.expect_silence();
  b.machine.advance(906 * kMs);
  b.expect(0x18EEFFFE, kOwnName);
}

TEST_CASE("The address is given back with cannot claim, once, and nothing is said any more") {
  Bench b;
  b.settle();
  b.machine.give_back();
  b.expect(0x18EEFFFE, kOwnName);
  CHECK(b.machine.state() == ClaimState::given_back);
  b.machine.give_back();
  b.hear(700 * kMs, 0x18EAFFFE, kAskClaims);
  b.hear(701 * kMs, 0x18EEFFF9, kHigherName);
  b.machine.advance(2000 * kMs);
  b.expect_silence();
}

TEST_CASE("A tool that only asked has nothing to give back") {
  Bench b;
  b.machine.start(0);
  b.machine.take_frames();
  b.machine.give_back();
  b.machine.advance(1000 * kMs);
  b.expect_silence();
}

TEST_CASE("Another unit with the same NAME silences the tool for good") {
  Bench b;
  SECTION("while it asks") {
    b.machine.start(0);
    b.machine.take_frames();
  }
  SECTION("while it holds") {
    b.settle();
  }
  b.hear(600 * kMs, 0x18EEFF85, kOwnName);
  CHECK(b.machine.state() == ClaimState::refused);
  b.machine.advance(2000 * kMs);
  b.hear(2001 * kMs, 0x18EAFFFE, kAskClaims);
  b.machine.advance(3000 * kMs);
  b.machine.give_back();
  b.expect_silence();
}

TEST_CASE("A stranger at our address is told at most once in 5 s; frames of our own kernel are none") {
  Bench b;
  b.settle();
  b.hear(1000 * kMs, 0x18FECAF9, Data(8, 0xFF), kExtendedId | kOutbound);
  b.hear(1000 * kMs, 0x1CEC80F9, {17, 2, 1, 0xFF, 0xFF, 0xDA, 0xFE, 0});  // CTS
  b.hear(1000 * kMs, 0x1CC880F9, {23, 0, 8, 0, 0, 0, 0xCB, 0});
  b.expect_silence();
  b.hear(1000 * kMs, 0x18FECAF9, Data(8, 0xFF));
  b.expect(0x18EEFFF9, kOwnName);
  b.hear(5999 * kMs, 0x18FECAF9, Data(8, 0xFF));
  b.expect_silence();
  b.hear(6000 * kMs, 0x18FECAF9, Data(8, 0xFF));
  b.expect(0x18EEFFF9, kOwnName);
}

TEST_CASE("Claims of a wrong length, standard, remote and FD frames are no claims") {
  Bench b;
  b.settle();
  b.hear(600 * kMs, 0x18EEFFF9, Data(kLowerName.begin(), kLowerName.begin() + 7));
  b.hear(600 * kMs, 0x18EEFFF9, kLowerName, 0);
  b.hear(600 * kMs, 0x18EEFFF9, kLowerName, kExtendedId | kRemote);
  b.hear(600 * kMs, 0x18EEFFF9, kLowerName, kExtendedId | kFd);
  b.expect_silence();
  CHECK(b.machine.address() == 249);
}
