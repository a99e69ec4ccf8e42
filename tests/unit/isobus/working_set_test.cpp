#include "isobus/working_set.hpp"

#include <catch2/catch.hpp>
#include <cstring>

using namespace tramlog;

namespace {

struct Bench {
  WorkingSets sets;
  TimeNs now = 0;
  std::uint64_t frame = 0;

  void send(Pgn pgn, Bytes data, Address source = 0x80, BusIndex bus = 0) {
    now += 100 * kMillisecond;
    Message m;
    m.bus = bus;
    m.pgn = pgn;
    m.source = source;
    m.start = m.end = now;
    m.first_frame = m.last_frame = ++frame;
    m.data = data;
    sets.take(m);
  }
  void master(std::uint8_t count, Address source = 0x80, BusIndex bus = 0) {
    const std::uint8_t data[8] = {count, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF};
    send(kPgnWorkingSetMaster, data, source, bus);
  }
  void member(std::uint64_t name, Address source = 0x80, BusIndex bus = 0) {
    std::uint8_t data[8];
    for (unsigned i = 0; i < 8; ++i) data[i] = static_cast<std::uint8_t>(name >> 8 * i);
    send(kPgnWorkingSetMember, data, source, bus);
  }
};

}  // namespace

TEST_CASE("a master alone is complete at once") {
  Bench b;
  b.master(1);
  const WorkingSet* set = b.sets.find(0, 0x80);
  REQUIRE(set);
  CHECK(set->complete());
  CHECK(set->members.empty());
  CHECK(set->definitions == 1);
}

TEST_CASE("a set is complete with its last member") {
  Bench b;
  b.master(3);
  b.member(0xA00C80007D000001);
  const WorkingSet& set = *b.sets.find(0, 0x80);
  CHECK_FALSE(set.complete());
  CHECK_FALSE(set.given_up(b.now + 350 * kMillisecond));
  CHECK(set.given_up(b.now + 351 * kMillisecond));
  b.member(0xA00C80007D000001);  // the same one again does not count
  CHECK_FALSE(set.complete());
  b.member(0xA00C80007D000002);
  CHECK(set.complete());
  CHECK_FALSE(set.given_up(b.now + kHour));
  REQUIRE(set.members.size() == 2);
  CHECK(set.members[0].name == Name(0xA00C80007D000001));
  CHECK(set.members[0].frame == 3);
  CHECK(set.first_frame == 1);
  CHECK(set.last_heard == b.now);
}

TEST_CASE("a new definition replaces the old one when it is complete") {
  Bench b;
  b.master(3);
  b.member(1);
  b.member(2);
  b.master(2);
  const WorkingSet& set = *b.sets.find(0, 0x80);
  CHECK_FALSE(set.complete());
  CHECK(set.members.size() == 2);
  b.member(3);
  CHECK(set.complete());
  REQUIRE(set.members.size() == 1);
  CHECK(set.members[0].name == Name(3));
  b.master(1);
  CHECK(set.members.empty());
  CHECK(set.definitions == 3);
}

TEST_CASE("members without a master message tell no count") {
  Bench b;
  b.member(7);
  const WorkingSet& set = *b.sets.find(0, 0x80);
  CHECK_FALSE(set.members_told.has_value());
  CHECK_FALSE(set.complete());
  CHECK(set.members.size() == 1);
}

TEST_CASE("sets are kept by bus and master") {
  Bench b;
  b.master(2, 0x80, 0);
  b.master(2, 0x80, 1);
  b.member(5, 0x80, 1);
  CHECK_FALSE(b.sets.find(0, 0x80)->complete());
  CHECK(b.sets.find(1, 0x80)->complete());
  CHECK(b.sets.find(0, 0x81) == nullptr);
  b.sets.forget(1, 0x80);
  CHECK(b.sets.find(1, 0x80) == nullptr);
  CHECK(b.sets.all().size() == 1);
}

TEST_CASE("damaged messages are counted and change nothing") {
  Bench b;
  b.master(0);
  b.send(kPgnWorkingSetMaster, {});
  const std::uint8_t seven[7] = {};
  b.send(kPgnWorkingSetMember, seven);
  CHECK(b.sets.stats().malformed == 3);
  CHECK(b.sets.all().empty());
  b.send(0xFECA, seven);
  CHECK(b.sets.all().empty());
}

TEST_CASE("hostile masters meet the caps") {
  Bench b;
  b.master(255);
  for (std::uint64_t i = 0; i < 1000; ++i) b.member(i);
  CHECK(b.sets.find(0, 0x80)->members.size() == WorkingSets::kMaxMembers);
  CHECK(b.sets.find(0, 0x80)->complete());
  CHECK(b.sets.stats().not_kept == 1000 - WorkingSets::kMaxMembers);
  b.master(255);
  for (std::uint64_t i = 5000; i < 5100; ++i) b.member(i);  // room is made by the definition before
  CHECK(b.sets.find(0, 0x80)->members.size() == WorkingSets::kMaxMembers);
  CHECK(b.sets.find(0, 0x80)->heard_in_current() == 100);

  for (unsigned bus = 0; bus < 20; ++bus)
    for (unsigned sa = 0; sa < 254; ++sa) b.master(1, static_cast<Address>(sa), static_cast<BusIndex>(bus));
  CHECK(b.sets.all().size() == WorkingSets::kMaxSets);
}
