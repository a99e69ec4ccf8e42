#include "isobus/network.hpp"

#include <catch2/catch.hpp>
#include <vector>

#include "isobus/acknowledgement.hpp"

using namespace tramlog;

namespace {

constexpr std::uint64_t kLow = 0x20008600EDA1A2B3, kMiddle = 0xA0088000F3C10001, kHigh = 0xA0088500F3C10011;

class Bench final : public NetworkSink {
 public:
  Network network{*this};
  std::vector<Claim> claims;

  ClaimKind claim(double at_s, Address address, std::uint64_t name, unsigned len = 8) {
    std::array<std::uint8_t, 8> payload;
    for (int i = 0; i < 8; ++i)
      payload[static_cast<std::size_t>(i)] = static_cast<std::uint8_t>(name >> (8 * i));
    Event event = at(at_s, make_id(6, kPgnAddressClaimed, address));
    event.data = payload.data();
    event.len = static_cast<std::uint8_t>(len);
    network.take_claim(event);
    return claims.empty() ? ClaimKind::first : claims.back().kind;
  }
  void ask(double at_s, Address to = kGlobalAddress) {
    network.take_claim_request(at(at_s, make_id(6, kPgnRequest, kNullAddress, to)));
  }
  void on_claim(const Claim& claim) override { claims.push_back(claim); }
  void on_owner(BusIndex, Address, ControllerId, ControllerId, TimeNs) override {}

 private:
  Event at(double at_s, std::uint32_t id) {
    Event event;
    event.time = static_cast<TimeNs>(at_s * 1e9);
    event.number = ++number_;
    event.id = id;
    event.flags = kExtendedId;
    return event;
  }
  std::uint64_t number_ = 0;
};

}  // namespace

TEST_CASE("first claim, answers and a restart are told apart") {
  Bench bench;
  CHECK(bench.claim(1, 0x80, kMiddle) == ClaimKind::first);
  bench.ask(5);
  CHECK(bench.claim(5.1, 0x80, kMiddle) == ClaimKind::answer);
  bench.ask(8, 0x80);
  CHECK(bench.claim(8.05, 0x80, kMiddle) == ClaimKind::answer);
  bench.ask(12, 0x90);  // meant for somebody else
  CHECK(bench.claim(12.1, 0x80, kMiddle) == ClaimKind::unprompted);
  CHECK(bench.claim(20, 0x80, kMiddle) == ClaimKind::unprompted);
  const auto& c = bench.network.controllers().at(0);
  CHECK(c.claims == 5);
  CHECK(c.unprompted_claims == 2);
  REQUIRE(c.addresses.size() == 1);
  CHECK(!c.addresses[0].end);
}

TEST_CASE("a move ends the old address where the new one begins") {
  Bench bench;
  bench.claim(1, 0x80, kMiddle);
  CHECK(bench.claim(10, 0x85, kMiddle) == ClaimKind::move);
  const auto& c = bench.network.controllers().at(0);
  REQUIRE(c.addresses.size() == 2);
  CHECK(c.addresses[0].end == 10 * kSecond);
  CHECK(bench.network.owner(0, 0x80) == kNobody);
  CHECK(bench.network.owner(0, 0x85) == 0);
}

TEST_CASE("the holder defends its address: contest won") {
  Bench bench;
  bench.claim(1, 0x80, kLow);
  bench.claim(10, 0x80, kHigh);
  CHECK(bench.claim(10.01, 0x80, kLow) == ClaimKind::contest);
  bench.claim(10.1, 0x81, kHigh);
  REQUIRE(bench.network.contests().size() == 1);
  const AddressContest& contest = bench.network.contests()[0];
  CHECK(contest.answered);
  CHECK(contest.fate == LoserFate::moved);
  CHECK(contest.moved_to == 0x81);
  // The holder held it all along.
  CHECK(bench.network.controllers()[0].addresses.size() == 1);
  CHECK(bench.network.owner(0, 0x80) == 0);
}

TEST_CASE("the challenger wins: the holder moves or cannot claim") {
  Bench bench;
  bench.claim(1, 0x80, kHigh);
  bench.claim(10, 0x80, kLow);
  SECTION("moves") {
    CHECK(bench.claim(10.2, 0x90, kHigh) == ClaimKind::move);
    CHECK(bench.network.contests()[0].fate == LoserFate::moved);
    CHECK(bench.network.controllers()[0].addresses.size() == 2);
  }
  SECTION("cannot claim") {
    CHECK(bench.claim(10.2, kNullAddress, kHigh) == ClaimKind::cannot);
    CHECK(bench.network.contests()[0].fate == LoserFate::cannot_claim);
    CHECK(bench.network.controllers()[0].refused);
    CHECK(bench.network.owner(0, 0x80) == 1);
  }
  SECTION("insists") {
    bench.claim(10.05, 0x80, kHigh);
    bench.claim(10.06, 0x80, kLow);
    bench.claim(10.1, 0x80, kHigh);
    CHECK(bench.network.contests()[0].rounds == 4);
  }
}

TEST_CASE("the address of a unit that is gone is taken without a contest") {
  Bench bench;
  bench.claim(1, 0x80, kLow);
  bench.claim(100, 0x80, kHigh);
  REQUIRE(bench.network.contests().size() == 1);
  CHECK(!bench.network.contests()[0].answered);
  CHECK(bench.network.controllers()[0].addresses[0].end == 100 * kSecond);
}

TEST_CASE("one NAME that talks from two addresses is a duplicate") {
  Bench bench;
  bench.claim(1, 0x80, kMiddle);
  bench.claim(2, 0x81, kMiddle);
  bench.network.take_unowned(0, 0x80, static_cast<TimeNs>(2.1e9), 50);  // still in its queue
  CHECK(bench.network.duplicates().empty());
  bench.network.take_unowned(0, 0x80, 3 * kSecond, 60);
  REQUIRE(bench.network.duplicates().size() == 1);
  CHECK(bench.network.duplicates()[0].first_address == 0x80);
  CHECK(bench.network.duplicates()[0].second_address == 0x81);
}

TEST_CASE("claims of a wrong form are counted and not used") {
  Bench bench;
  bench.claim(1, 0x80, kMiddle, 7);
  bench.claim(1, 0xFF, kMiddle);
  CHECK(bench.network.malformed_claims() == 2);
  CHECK(bench.network.controllers().empty());
}

TEST_CASE("a commanded address is obeyed or not") {
  Bench bench;
  bench.claim(1, 0x80, kMiddle);
  std::array<std::uint8_t, 9> payload;
  for (int i = 0; i < 8; ++i)
    payload[static_cast<std::size_t>(i)] = static_cast<std::uint8_t>(kMiddle >> (8 * i));
  payload[8] = 0x95;
  Message message;
  message.data = payload;
  message.end = 5 * kSecond;
  bench.network.take_commanded_address(message);
  CHECK(!bench.network.commands().at(0).obeyed);
  bench.claim(5.5, 0x95, kMiddle);
  CHECK(bench.network.commands().at(0).obeyed);
}

TEST_CASE("hostile claims do not grow the table beyond its cap") {
  Bench bench;
  for (std::uint64_t i = 0; i < 3000; ++i)
    bench.claim(1 + static_cast<double>(i) * 0.001, static_cast<Address>(i % 250), kMiddle + (i << 8));
  CHECK(bench.network.controllers().size() == Network::kMaxControllers);
  CHECK(bench.network.over_cap() > 0);
}
