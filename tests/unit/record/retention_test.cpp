#include "record/retention.hpp"

#include <catch2/catch.hpp>

using namespace tramlog;

namespace {

using Removals = std::vector<std::size_t>;

/// Run and segment; began in this hour and lasts one.
StoredSegment stored(std::uint32_t run, std::uint32_t segment, std::int64_t hour, std::uint64_t bytes = 100) {
  StoredSegment one;
  one.name = {run, segment, hour * kHour, true};
  one.end = (hour + 1) * kHour;
  one.bytes = bytes;
  return one;
}

constexpr std::uint64_t kMuchRoom = 1'000'000;

}  // namespace

TEST_CASE("Without limits nothing goes") {
  const std::vector<StoredSegment> all = {stored(1, 1, 0), stored(1, 2, 1)};
  const auto plan = choose_removals(all, {}, 0, 1000 * kHour);
  CHECK(plan.removals.empty());
  CHECK(plan.limits_hold);
  CHECK(choose_removals({}, {1, 1, 1}, 5, 0).removals.empty());
}

TEST_CASE("The oldest go first, by run and segment whatever the clock said") {
  // Given out of order; run 2 has earlier times.
  const std::vector<StoredSegment> all = {stored(2, 1, 0), stored(1, 10, 9), stored(1, 2, 5),
                                          stored(2, 2, 1)};
  RetentionLimits limits;
  limits.most_bytes = 400;
  CHECK(choose_removals(all, limits, kMuchRoom, 20 * kHour).removals.empty());
  limits.most_bytes = 399;
  CHECK(choose_removals(all, limits, kMuchRoom, 20 * kHour).removals == Removals{2});
  limits.most_bytes = 300;
  CHECK(choose_removals(all, limits, kMuchRoom, 20 * kHour).removals == Removals{2});
  limits.most_bytes = 101;
  CHECK(choose_removals(all, limits, kMuchRoom, 20 * kHour).removals == Removals{2, 1, 0});
}

TEST_CASE("Free space: what is removed becomes free") {
  const std::vector<StoredSegment> all = {stored(1, 1, 0, 30), stored(1, 2, 1, 50), stored(1, 3, 2, 70)};
  RetentionLimits limits;
  limits.least_free_bytes = 100;
  CHECK(choose_removals(all, limits, 100, 0).removals.empty());
  CHECK(choose_removals(all, limits, 70, 0).removals == Removals{0});
  CHECK(choose_removals(all, limits, 69, 0).removals == Removals{0, 1});
  limits.most_bytes = 100;  // 50 too much; one removal serves both
  CHECK(choose_removals(all, limits, 90, 0).removals == Removals{0, 1});
}

TEST_CASE("Age counts from a segment's end, in the capture's time") {
  const std::vector<StoredSegment> all = {stored(1, 1, 0), stored(1, 2, 1), stored(1, 3, 2)};
  RetentionLimits limits;
  limits.most_age = 10 * kHour;
  CHECK(choose_removals(all, limits, kMuchRoom, 11 * kHour).removals.empty());
  CHECK(choose_removals(all, limits, kMuchRoom, 11 * kHour + 1).removals == Removals{0});
  CHECK(choose_removals(all, limits, kMuchRoom, 100 * kHour).removals == Removals{0, 1, 2});
  // A clock that went back makes nothing old.
  CHECK(choose_removals(all, limits, kMuchRoom, INT64_MIN).removals.empty());
}

TEST_CASE("What age takes counts for the other limits") {
  // The younger run has the older time.
  const std::vector<StoredSegment> all = {stored(1, 1, 100), stored(2, 1, 0), stored(3, 1, 101)};
  RetentionLimits limits;
  limits.most_age = 50 * kHour;
  limits.most_bytes = 200;
  CHECK(choose_removals(all, limits, kMuchRoom, 102 * kHour).removals == Removals{1});
}

TEST_CASE("Never the protected ones nor those in use; if that is all, it is said") {
  std::vector<StoredSegment> all = {stored(1, 1, 0), stored(1, 2, 1), stored(1, 3, 2), stored(1, 4, 3)};
  all[0].is_protected = true;
  all[3].in_use = true;
  RetentionLimits limits;
  limits.most_bytes = 250;
  auto plan = choose_removals(all, limits, kMuchRoom, 0);
  CHECK(plan.removals == Removals{1, 2});
  CHECK(plan.limits_hold);
  limits.most_bytes = 150;
  plan = choose_removals(all, limits, kMuchRoom, 0);
  CHECK(plan.removals == Removals{1, 2});
  CHECK_FALSE(plan.limits_hold);
  CHECK(plan.excess_bytes == 50);
  limits = {};
  limits.least_free_bytes = 1000;
  plan = choose_removals(all, limits, 100, 0);
  CHECK(plan.removals == Removals{1, 2});
  CHECK(plan.excess_bytes == 700);
  // Protection outlives age, and that is in order.
  limits = {};
  limits.most_age = 1;
  plan = choose_removals(all, limits, 0, 1000 * kHour);
  CHECK(plan.removals == Removals{1, 2});
  CHECK(plan.limits_hold);
}
