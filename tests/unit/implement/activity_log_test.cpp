#include "implement/activity_log.hpp"

#include <catch2/catch.hpp>

namespace tramlog {
namespace {

constexpr TimeNs at(double seconds) {
  return 1'775'542'320 * kSecond + static_cast<SpanNs>(seconds * 1e9);
}

void go(ActivityLog& log, int from, int to, double mm_s, bool works) {
  for (int i = from * 10; i <= to * 10; ++i) log.look(at(0.1 * i), mm_s, mm_s >= 150, works);
}

TEST_CASE("A short stop belongs to a stretch, a long one ends it", "[activity]") {
  ActivityLog log;
  go(log, 0, 4, 0, false);
  CHECK(log.empty());
  go(log, 5, 25, 2000, false);
  go(log, 26, 80, 0, false);
  go(log, 81, 91, 3000, true);
  go(log, 92, 200, 0, false);
  go(log, 201, 211, 1000, true);
  const ActivityRecord record = log.conclude(3);
  CHECK(record.bus == 3);
  REQUIRE(record.driving.size() == 2);
  CHECK(record.driving[0].start == at(5));
  CHECK(record.driving[0].end == at(91));
  // 20 s at 2 m/s, and 10 s at 3 m/s with one second before it in which it had begun.
  CHECK(to_seconds(record.driving[0].moving) == Approx(31).margin(0.01));
  CHECK(record.driving[0].distance_m == Approx(73).margin(0.01));
  CHECK(record.driving[0].fastest_mm_s == 3000);
  CHECK(record.driving[1].start == at(201));
  CHECK(record.driving[1].distance_m == Approx(10).margin(0.01));
  REQUIRE(record.working.size() == 2);
  CHECK(record.working[0].start == at(81));
}

TEST_CASE("Nothing is added up over a time that the recorder did not hear", "[activity]") {
  ActivityLog log;
  go(log, 0, 10, 1000, false);
  log.blind();
  go(log, 11, 21, 1000, false);
  log.look(at(60), 1000, true, false);
  const ActivityRecord record = log.conclude(0);
  REQUIRE(record.driving.size() == 1);
  CHECK(record.driving[0].distance_m == Approx(20).margin(0.01));
  CHECK(record.driving[0].end == at(60));
}

TEST_CASE("A season has 32 stretches at most: the closest become one", "[activity]") {
  ActivityLog log;
  double metres = 0;
  for (int i = 0; i < 1000; ++i) {
    const int pause = i == 500 ? 100'000 : 100;
    const int from = i * 200 + (i >= 500 ? pause : 0);
    go(log, from, from + 10, 1000, true);
    metres += 10;
  }
  const ActivityRecord record = log.conclude(0);
  for (const auto* list : {&record.driving, &record.working}) {
    CHECK(list->size() == ActivityLog::kMaxStretches);
    double sum = 0;
    bool pause_kept = false;
    for (std::size_t i = 0; i < list->size(); ++i) {
      sum += (*list)[i].distance_m;
      pause_kept = pause_kept || (i > 0 && (*list)[i].start == at(200'000));
    }
    CHECK(sum == Approx(metres).margin(0.5));
    CHECK(pause_kept);
  }
}

TEST_CASE("A clock that is put back begins a new stretch", "[activity]") {
  ActivityLog log;
  go(log, 100, 110, 1000, false);
  CHECK_FALSE(log.wants(at(110.05)));
  CHECK(log.wants(at(110.2)));
  CHECK(log.wants(at(50)));
  go(log, 50, 60, 1000, false);
  const ActivityRecord record = log.conclude(0);
  REQUIRE(record.driving.size() == 2);
  CHECK(record.driving[1].start == at(50));
  CHECK(record.driving[1].distance_m == Approx(10).margin(0.01));
}

}  // namespace
}  // namespace tramlog
