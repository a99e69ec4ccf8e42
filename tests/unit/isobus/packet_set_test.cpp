#include "isobus/packet_set.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <random>
#include <set>

using namespace tramlog;

TEST_CASE("packets in order") {
  PacketSet set;
  set.reset(3);
  CHECK(set.add(1));
  CHECK_FALSE(set.add(1));
  CHECK_FALSE(set.has_gap());
  CHECK(set.add(3));
  CHECK(set.has_gap());
  CHECK_FALSE(set.all());
  CHECK(set.add(2));
  CHECK(set.all());
  CHECK_FALSE(set.has_gap());
  CHECK_FALSE(set.add(4));
  CHECK_FALSE(set.add(0));
}

TEST_CASE("a hole that left the window is not forgiven") {
  PacketSet set;
  set.reset(2000);
  for (std::uint32_t n = 2; n <= 2000; ++n) CHECK(set.add(n));
  CHECK_FALSE(set.add(1));
  CHECK_FALSE(set.all());
  CHECK(set.has_gap());
}

TEST_CASE("a jump over everything") {
  PacketSet set;
  set.reset(0xFFFFFF);
  CHECK(set.add(5));
  CHECK(set.add(0xFFFFFF));
  CHECK_FALSE(set.add(0xFFFFFF));
  CHECK(set.add(0xFFFFFE));
  CHECK_FALSE(set.all());
}

TEST_CASE("what a jump passed over stays missing") {
  PacketSet set;
  set.reset(5000);
  CHECK(set.add(5));
  CHECK(set.add(5000));
  for (std::uint32_t n = 5000 - 511; n < 5000; ++n) CHECK(set.add(n));
  CHECK_FALSE(set.all());
  CHECK(set.has_gap());
}

TEST_CASE("within the window it is an ordinary set") {
  std::mt19937 engine(7);
  const auto random = [&] { return static_cast<std::uint32_t>(engine()); };
  for (int round = 0; round < 200; ++round) {
    const std::uint32_t total = 1 + random() % 1500;
    PacketSet set;
    set.reset(total);
    std::set<std::uint32_t> model;
    std::uint32_t missing = 1;
    while (missing <= total) {
      const std::uint32_t n = std::min(total, missing + random() % 512);
      REQUIRE(set.add(n) == model.insert(n).second);
      while (model.count(missing) != 0) ++missing;
      REQUIRE(set.all() == (missing > total));
      REQUIRE(set.has_gap() == (model.size() + 1 > missing));
      if (random() % 4 != 0) {
        REQUIRE(set.add(missing) == (missing <= total && model.insert(missing).second));
        while (model.count(missing) != 0) ++missing;
      }
    }
    REQUIRE(set.all());
  }
}
