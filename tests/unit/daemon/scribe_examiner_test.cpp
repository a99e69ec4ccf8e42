// The live report is that of the files, byte for byte, whatever the bus and the disk did.
#include <fcntl.h>

#include <deque>

#include "unit/daemon/scribe_bench.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

/// Feeds one recorder from a seed; asks at random moments.
struct RandomRun {
  explicit RandomRun(unsigned the_seed) : seed(the_seed), random(the_seed * 7919 + 1), bench(options()), traffic(bench.scribe, the_seed) {}

  BenchOptions options() {
    BenchOptions options;
    options.segment_bytes = 2'000 + random() % 60'000;
    options.segment_span = static_cast<SpanNs>(5 + random() % 100) * kSecond;
    return options;
  }
  void feed(unsigned steps) {
    for (unsigned i = 0; i < steps; ++i) {
      traffic.step();
      if (random() % 4 == 0) bench.scribe.flush(traffic.now());
      if (answers.size() < 3 && random() % 150 == 0) ask(*bench.examiner, answers.emplace_back());
      if (random() % 40 == 0) std::this_thread::yield();
    }
  }
  void end() {
    bench.scribe.finish(traffic.now());
  }
  void check() {
    INFO("seed " << seed);
    bench.wait_for_end();
    for (Answer& answer : answers) {
      answer.collect();
      if (kCopiesMayHang && answer.died) continue;
      REQUIRE_FALSE(answer.died);
      ++compared;
      CHECK(answer.status.unrecorded == 0);
      if (answer.status.segment.empty()) continue;  // asked before anything was heard
      INFO(answer.status.segment << " up to " << answer.status.segment_bytes);
      REQUIRE(answer.report == bench.report_up_to(answer.status.segment, answer.status.segment_bytes));
    }
    ExaminerStatus status;
    const std::string live = bench.live_report(&status);
    REQUIRE(live == report_of(bench.segments()));
    CHECK(status.frames == traffic.frames());
    CHECK(status.segment == fs::path(bench.segments().back()).filename().string());
    CHECK(status.segment_bytes == fs::file_size(bench.segments().back()));
    CHECK(bench.scribe.not_recorded() == 0);
    CHECK(bench.seen >= traffic.frames());
  }

  unsigned seed;
  std::mt19937 random;
  Bench bench;
  MadeUpTraffic traffic;
  std::deque<Answer> answers;
  unsigned compared = 0;
};

}  // namespace

TEST_CASE("A live report is the report of the files: 200 random runs, asked at random moments") {
  {
    // The schema's messages are made once, under a lock that all examiners of this process share: not while one of them forks.
    RandomRun alone(1'000);
    alone.feed(3'000);
    alone.end();
    alone.check();
  }
  unsigned asked = 0, compared = 0;
  for (unsigned first = 1; first <= 200; first += 8) {
    std::vector<std::unique_ptr<RandomRun>> runs;
    for (unsigned seed = first; seed < first + 8; ++seed) runs.push_back(std::make_unique<RandomRun>(seed));
    for (auto& run : runs) run->feed(200 + run->seed % 300);
    for (auto& run : runs) run->end();
    for (auto& run : runs) {
      run->check();
      asked += static_cast<unsigned>(run->answers.size());
      compared += run->compared;
    }
  }
  CHECK(asked >= 200);
  CHECK(compared >= (kCopiesMayHang ? asked * 8 / 10 : asked));
}

TEST_CASE("The first frame after a long pause is in the live report before the next one comes") {
  Bench bench;
  const BusIndex bus = bench.scribe.bus("can0", 250'000);
  for (int i = 0; i < 20; ++i) put_frame(bench.scribe, bus, kBegin + i * 100 * kMillisecond, 0x0CFE4980, 1);
  put_frame(bench.scribe, bus, kBegin + 30 * kSecond, 0x0CFE4980, 2);
  bench.scribe.flush(kBegin + 30 * kSecond);
  std::optional<Answer> answer;
  for (int tries = kCopiesMayHang ? 5 : 1; tries > 0 && (!answer || answer->died); --tries) {
    answer.emplace();
    for (int left = 2000; bench.seen < 21 && left > 0; --left) std::this_thread::sleep_for(5ms);
    ask(*bench.examiner, *answer);
    answer->collect();
  }
  REQUIRE_FALSE(answer->died);
  CHECK(answer->status.frames == 21);
  bench.finish(kBegin + 31 * kSecond);
  CHECK(answer->report == bench.report_up_to(answer->status.segment, answer->status.segment_bytes));
}

TEST_CASE("A copy that nobody listens to keeps no file of its parent open") {
  if (kCopiesMayHang) return;  // before it gets as far as that
  Bench bench;
  const BusIndex bus = bench.scribe.bus("can0", 250'000);
  put_frame(bench.scribe, bus, kBegin, 0x0CFE4980, 1);
  bench.scribe.flush(kBegin + kSecond);
  int ends[2];
  REQUIRE(::pipe2(ends, O_CLOEXEC) == 0);
  std::atomic<int> answer{-1}, process{-1};
  constexpr std::size_t kMoreThanAPipeHolds = 4 << 20;
  bench.examiner->ask(
      std::nullopt, [](Report, const ExaminerStatus&) { return std::string(kMoreThanAPipeHolds, 'x'); },
      [&](int pipe, int child) {
        answer = pipe;
        process = child;
      });
  for (int left = 6000; process < 0 && left > 0; --left) std::this_thread::sleep_for(5ms);
  REQUIRE(process > 0);
  pollfd readable{answer, POLLIN, 0};
  REQUIRE(::poll(&readable, 1, 30'000) == 1);  // it writes, and cannot come to its end
  ::close(ends[1]);
  pollfd ended{ends[0], POLLIN, 0};
  CHECK(::poll(&ended, 1, 30'000) == 1);
  CHECK((ended.revents & POLLHUP) != 0);
  CHECK(::waitpid(process, nullptr, WNOHANG) == 0);
  ::close(ends[0]);
  ::close(answer);  // it is told by SIGPIPE
  CHECK(::waitpid(process, nullptr, 0) == process);
  bench.finish(kBegin + 2 * kSecond);
}

TEST_CASE("A run without a bus, and one without a frame, give the same report live") {
  for (const bool with_bus : {false, true}) {
    Bench bench;
    if (with_bus) {
      const BusIndex bus = bench.scribe.bus("can0", 250'000);
      for (int s = 1; s <= 30; ++s) bench.scribe.counters(bus, kBegin + s * kSecond, {0, 0, 0});
    }
    bench.scribe.flush(kBegin + 31 * kSecond);
    bench.finish(kBegin + 32 * kSecond);
    CHECK(bench.live_report() == report_of(bench.segments()));
  }
}

TEST_CASE("Segments of a silent bus, one after the other, give the same report live") {
  BenchOptions options;
  options.segment_span = 60 * kSecond;
  Bench bench(options);
  const BusIndex bus = bench.scribe.bus("can0", 250'000);
  put_frame(bench.scribe, bus, kBegin, 0x18EEFF80, 0xA0088000F3C10001);
  for (int s = 1; s <= 400; ++s) {
    const TimeNs now = kBegin + s * kSecond;
    bench.scribe.counters(bus, now, {1, 0, 0});
    if (s == 350) put_frame(bench.scribe, bus, now, 0x18EEFF80, 0xA0088000F3C10001);
    bench.scribe.flush(now);
  }
  bench.finish(kBegin + 401 * kSecond);
  REQUIRE(bench.segments().size() == 7);
  CHECK(bench.live_report() == report_of(bench.segments()));
}

TEST_CASE("Segments end at their size and at their time; times and names go forward from one to the next") {
  BenchOptions options;
  options.segment_bytes = 10'000;
  options.segment_span = 100 * kSecond;
  Bench bench(options);
  const BusIndex bus = bench.scribe.bus("can0", 250'000);
  TimeNs now = kBegin;
  for (int i = 0; i < 1000; ++i, now += kMillisecond) {
    put_frame(bench.scribe, bus, now, 0x0CFE4980, static_cast<std::uint64_t>(i));
    bench.scribe.flush(now);
  }
  // 48,000 bytes of frames, and heads of some 150 bytes.
  CHECK(bench.scribe.segment() == 5);
  now += 100 * kSecond;
  bench.scribe.flush(now);
  bench.scribe.flush(now);
  CHECK(bench.scribe.segment() == 6);
  // The clock goes back an hour: the next segment is not earlier than this one.
  now -= kHour;
  put_frame(bench.scribe, bus, now, 0x0CFE4980, 1);
  bench.scribe.begin_new_segment();
  bench.scribe.flush(now);
  CHECK(bench.scribe.segment() == 7);
  put_frame(bench.scribe, bus, now, 0x0CFE4980, 2);
  bench.finish(now);
  const auto paths = bench.segments();
  REQUIRE(paths.size() == 7);
  TimeNs latest = INT64_MIN;
  for (const std::string& path : paths) {
    auto source = CaptureSource::open({path});
    REQUIRE(source.ok());
    TimeNs highest = INT64_MIN;
    for (auto events = source->read(); !events.empty(); events = source->read())
      for (const Event& event : events) {
        if (event.kind == EventKind::notice && std::holds_alternative<BusInfo>(*event.notice)) continue;
        REQUIRE(event.time > latest);
        highest = std::max(highest, event.time);
      }
    latest = highest;
  }
  CHECK(bench.live_report() == report_of(paths));
}

TEST_CASE("A bus that appears in the middle of a segment is in it and in all later ones; a new bit rate begins a segment") {
  Bench bench;
  const BusIndex first = bench.scribe.bus("can0", 250'000);
  put_frame(bench.scribe, first, kBegin + 1, 0x0CFE4980, 1);
  bench.scribe.flush(kBegin + 2);
  const BusIndex second = bench.scribe.bus("usb-adapter", 0);
  REQUIRE(second != first);
  put_frame(bench.scribe, second, kBegin + 3, 0x0CFE4981, 1);
  bench.scribe.flush(kBegin + 4);
  CHECK(bench.scribe.segment() == 1);
  CHECK(bench.scribe.bus("can0", 0) == first);  // not told is no change
  bench.scribe.flush(kBegin + 5);
  CHECK(bench.scribe.segment() == 1);
  CHECK(bench.scribe.bus("usb-adapter", 125'000) == second);
  bench.scribe.flush(kBegin + 6);
  CHECK(bench.scribe.segment() == 2);
  put_frame(bench.scribe, second, kBegin + 7, 0x0CFE4981, 1);
  put_frame(bench.scribe, first, kBegin + 8, 0x0CFE4980, 1);
  bench.finish(kBegin + 9);
  const auto report = nlohmann::json::parse(report_of(bench.segments()));
  REQUIRE(report["capture"]["buses"].size() == 2);
  CHECK(report["capture"]["buses"][1]["bitrate"] == 125'000);
  CHECK(bench.live_report() == report_of(bench.segments()));
}

TEST_CASE("A bus that is deaf when a segment begins is told so in that segment") {
  Bench bench;
  const BusIndex bus = bench.scribe.bus("can0", 250'000);
  bench.scribe.link(bus, kBegin + 1, LinkState::down);
  bench.scribe.begin_new_segment();
  bench.scribe.flush(kBegin + 2);
  bench.finish(kBegin + 3 * kSecond);
  auto source = CaptureSource::open({bench.segments().back()});
  REQUIRE(source.ok());
  bool down = false;
  for (auto events = source->read(); !events.empty(); events = source->read())
    for (const Event& event : events)
      if (event.kind == EventKind::notice)
        if (const auto* change = std::get_if<LinkChange>(event.notice)) down = down || change->state == LinkState::down;
  CHECK(down);
}
