#include "exam/stream_table.hpp"

#include <catch2/catch.hpp>
#include <set>

using namespace tramlog;

TEST_CASE("The priority is no part of a stream's key; bus, source and destination are") {
  const std::uint32_t id = make_id(6, 0xEF00, 0x80, 0x26);
  CHECK(StreamTable::key_of(0, id) == StreamTable::key_of(0, make_id(3, 0xEF00, 0x80, 0x26)));
  CHECK(StreamTable::key_of(0, id) != StreamTable::key_of(1, id));
  CHECK(StreamTable::key_of(0, id) != StreamTable::key_of(0, make_id(6, 0xEF00, 0x81, 0x26)));
  CHECK(StreamTable::key_of(0, id) != StreamTable::key_of(0, make_id(6, 0xEF00, 0x80, 0x27)));
}

TEST_CASE("Streams are found again after growth, at the same address; the cap is counted") {
  StreamTable table;
  std::vector<Stream*> at;
  const auto key = [](std::size_t i) { return static_cast<std::uint32_t>(i * 0x1003F); };
  for (std::size_t i = 0; i < StreamTable::kMaxStreams; ++i) {
    REQUIRE(table.find(key(i)) == nullptr);
    at.push_back(table.add(key(i)));
    REQUIRE(at.back() != nullptr);
  }
  for (std::size_t i = 0; i < at.size(); ++i) REQUIRE(table.find(key(i)) == at[i]);
  CHECK(std::set<Stream*>(at.begin(), at.end()).size() == at.size());
  CHECK(table.refused() == 0);
  CHECK(table.add(key(at.size())) == nullptr);
  CHECK(table.find(key(at.size())) == nullptr);
  CHECK(table.refused() == 1);
  CHECK(table.all().size() == StreamTable::kMaxStreams);
}
