// Parts of an object pool in notes: whole again, whatever the size; never more than was told.
#include "implement/pool_parts.hpp"

#include <catch2/catch.hpp>
#include <random>

using namespace tramlog;

namespace {

constexpr std::size_t kMost = 100, kHead = 16;
const Name kClient{0xA00082000EDA0D16};

std::vector<std::uint8_t> pool_of(std::size_t size) {
  std::vector<std::uint8_t> pool(size);
  for (std::size_t i = 0; i < size; ++i) pool[i] = static_cast<std::uint8_t>(i * 7 + i / 256);
  return pool;
}

Bytes bytes_of(const std::string& text) {
  return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
}

}  // namespace

TEST_CASE("a pool in parts is whole again with its last part, not before") {
  for (const std::size_t size :
       {std::size_t{1}, kMost - kHead, kMost - kHead + 1, std::size_t{2310}, std::size_t{70'000}}) {
    const auto pool = pool_of(size);
    const auto parts = pool_parts(kClient, pool, kMost);
    CHECK(parts.size() == (size + kMost - kHead - 1) / (kMost - kHead));
    PoolParts together;
    for (std::size_t i = 0; i < parts.size(); ++i) {
      CHECK(parts[i].size() <= kMost);
      const auto whole = together.take(bytes_of(parts[i]));
      REQUIRE(whole.has_value() == (i + 1 == parts.size()));
      if (!whole) continue;
      CHECK(whole->client == kClient);
      CHECK(whole->bytes == pool);
    }
  }
}

TEST_CASE("parts of two clients may alternate; one that is missing, twice or too long makes no pool") {
  const Name other{0xA00082000EDA0D17};
  const auto pool = pool_of(300), small = pool_of(150);
  const auto parts = pool_parts(kClient, pool, kMost), of_other = pool_parts(other, small, kMost);
  PoolParts together;
  CHECK_FALSE(together.take(bytes_of(parts[0])));
  CHECK_FALSE(together.take(bytes_of(of_other[0])));
  CHECK_FALSE(together.take(bytes_of(parts[1])));
  const auto whole = together.take(bytes_of(of_other[1]));
  REQUIRE(whole);
  CHECK(whole->client == other);
  CHECK(whole->bytes == small);
  CHECK_FALSE(together.take(bytes_of(parts[3])));  // the third is missing
  CHECK_FALSE(together.take(bytes_of(parts[2])));
  CHECK_FALSE(together.take(bytes_of(parts[3])));
  for (const std::string& part : parts) together.take(bytes_of(part));
  std::string longer = parts[0];
  longer[8] = 10;  // bytes of the whole pool: fewer than this part has
  longer[9] = 0;
  CHECK_FALSE(together.take(bytes_of(longer)));
  CHECK_FALSE(together.take({}));
  CHECK_FALSE(together.take(bytes_of(parts[0].substr(0, kHead))));
}

TEST_CASE("made-up parts make no pool that is longer than told, and no memory without end") {
  std::mt19937 random(7);
  PoolParts together;
  std::size_t whole_ones = 0;
  for (int i = 0; i < 200'000; ++i) {
    std::string part(random() % 40, '\0');
    for (char& c : part) c = static_cast<char>(random() % 3);
    for (std::size_t at = 9; at < 16 && at < part.size(); ++at) part[at] = 0;
    std::size_t told = part.size() > 8 ? static_cast<unsigned char>(part[8]) : 0;
    if (part.size() > 8 && random() % 2 == 0)
      part[8] = static_cast<char>(told = part.size() - std::min(part.size(), kHead));
    if (const auto whole = together.take(bytes_of(part))) {
      ++whole_ones;
      CHECK(whole->bytes.size() == told);
    }
  }
  CHECK(whole_ones > 1000);
}
