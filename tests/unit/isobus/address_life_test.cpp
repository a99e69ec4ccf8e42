// The life of an address beyond the plain cases: contests to their end, the dead that return, caps, clocks.
#include <catch2/catch.hpp>

#include "isobus/network.hpp"

using namespace tramlog;

namespace {

constexpr TimeNs kT = 1'000'000 * kSecond;
constexpr Name kLow(0xA000000000000001), kHigh(0xA000000000000003);

struct Life final : NetworkSink {
  Network network{*this};
  std::vector<Claim> claims;
  std::uint64_t frames = 0;

  void on_claim(const Claim& claim) override { claims.push_back(claim); }
  void on_owner(BusIndex bus, Address address, ControllerId from, ControllerId to, TimeNs) override {
    REQUIRE(network.owner(bus, address) == to);
    REQUIRE(from != to);
  }
  static TimeNs at(double seconds) { return kT + static_cast<SpanNs>(seconds * 1e9); }
  ClaimKind claim(double seconds, Name name, Address address, BusIndex bus = 0) {
    std::uint8_t data[8];
    for (unsigned i = 0; i < 8; ++i) data[i] = static_cast<std::uint8_t>(name.raw() >> 8 * i);
    Event frame;
    frame.time = at(seconds);
    frame.number = ++frames;
    frame.bus = bus;
    frame.id = make_id(6, kPgnAddressClaimed, address, kGlobalAddress);
    frame.data = data;
    frame.len = 8;
    const auto before = claims.size();
    network.take_claim(frame);
    REQUIRE(claims.size() == before + 1);
    return claims.back().kind;
  }
  void request(double seconds, Address to, BusIndex bus = 0) {
    Event frame;
    frame.time = at(seconds);
    frame.bus = bus;
    frame.id = make_id(6, 0xEA00, 0x26, to);
    network.take_claim_request(frame);
  }
  const ControlFunction& of(Name name) const {
    for (const auto& c : network.controllers())
      if (c.name == name) return c;
    FAIL("never claimed");
    throw 0;
  }
};

}  // namespace

TEST_CASE("A request asks only its bus and its address, for 1.25 s") {
  Life b;
  b.claim(0, kLow, 0x80, 0);
  b.claim(0, kLow, 0x80, 1);
  CHECK(b.network.controllers().size() == 2);
  b.request(5, kGlobalAddress, 1);
  CHECK(b.claim(5.1, kLow, 0x80, 0) == ClaimKind::unprompted);
  CHECK(b.claim(5.1, kLow, 0x80, 1) == ClaimKind::answer);
  b.request(10, 0x81);
  CHECK(b.claim(10.1, kLow, 0x80) == ClaimKind::unprompted);
  b.request(20, 0x80);
  CHECK(b.claim(21.25, kLow, 0x80) == ClaimKind::answer);
  b.request(30, 0x80);
  CHECK(b.claim(31.26, kLow, 0x80) == ClaimKind::unprompted);
}

TEST_CASE("A holder that defends its address had it all along") {
  Life b;
  b.claim(0, kLow, 0x80);
  b.claim(10, kHigh, 0x80);
  CHECK(b.claim(10.02, kLow, 0x80) == ClaimKind::contest);
  CHECK(b.claim(10.2, kHigh, 0x81) == ClaimKind::move);
  REQUIRE(b.of(kLow).addresses.size() == 1);
  CHECK(b.of(kLow).addresses[0].start == kT);
  CHECK_FALSE(b.of(kLow).addresses[0].end);
  CHECK(b.of(kLow).unprompted_claims == 0);
  REQUIRE(b.network.contests().size() == 1);
  CHECK(b.network.contests()[0].moved_to == Address{0x81});
}

TEST_CASE("A loser that claims again and again insists") {
  Life b;
  b.claim(0, kLow, 0x80);
  for (int i = 0; i < 3; ++i) {
    b.claim(10 + i * 0.2, kHigh, 0x80);
    b.claim(10.05 + i * 0.2, kLow, 0x80);
  }
  REQUIRE(b.network.contests().size() == 1);
  CHECK(b.network.contests()[0].fate == LoserFate::insists);
  CHECK(b.network.contests()[0].rounds == 6);
}

TEST_CASE("Back from the dead: whoever finds its address taken starts anew and challenges") {
  Life b;
  b.claim(0, kLow, 0x80);
  b.claim(100, kHigh, 0x80);
  CHECK_FALSE(b.network.contests().at(0).answered);
  CHECK(b.claim(200, kLow, 0x80) == ClaimKind::move);
  CHECK(b.claim(200.1, kHigh, kNullAddress) == ClaimKind::cannot);
  REQUIRE(b.network.contests().size() == 2);
  CHECK(b.network.contests()[1].answered);
  REQUIRE(b.of(kLow).addresses.size() == 2);
  CHECK(b.of(kLow).addresses[0].end == Life::at(100));
  CHECK(b.of(kLow).addresses[1].start == Life::at(200));
}

TEST_CASE("One NAME claimed twice within 250 ms unasked may be two boxes; answers are not") {
  Life b;
  b.claim(0, kLow, 0x80);
  b.claim(0.2, kLow, 0x80);
  CHECK(b.of(kLow).double_claims == 1);
  b.claim(5, kLow, 0x80);
  CHECK(b.of(kLow).double_claims == 1);
  b.request(10, kGlobalAddress);
  b.claim(10.1, kLow, 0x80);
  b.claim(10.2, kLow, 0x80);
  CHECK(b.of(kLow).double_claims == 1);
}

TEST_CASE("Claims that go back and forth between two addresses are one NAME in two boxes") {
  Life b;
  b.claim(0, kLow, 0x80);
  b.claim(10, kLow, 0x81);
  b.claim(11, kLow, 0x80);
  REQUIRE(b.network.duplicates().size() == 1);
  CHECK(b.network.duplicates()[0].controller == 0);
  b.network.take_unowned(0, 0x70, Life::at(20), 100);  // an address that nobody left
  CHECK(b.network.duplicates().size() == 1);
}

TEST_CASE("Intervals are capped; the last one stays the present one") {
  Life b;
  for (int i = 0; i < 200; ++i) b.claim(i * 60, kLow, static_cast<Address>(i));
  CHECK(b.of(kLow).addresses.size() == Network::kMaxIntervals);
  CHECK(b.network.over_cap() == 200 - Network::kMaxIntervals);
  CHECK(b.of(kLow).addresses.back().address == 199);
}

TEST_CASE("A clock put back leaves every interval with its end not before its start") {
  Life b;
  b.claim(100, kLow, 0x80);
  b.claim(10, kLow, 0x81);
  b.claim(5, kHigh, 0x81);
  for (const auto& controller : b.network.controllers())
    for (const AddressInterval& interval : controller.addresses)
      CHECK(interval.end.value_or(INT64_MAX) >= interval.start);
}
