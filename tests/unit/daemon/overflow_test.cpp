// When the disk or the examiner takes nothing for a while: told, counted, and afterwards both say the same again.
#include "unit/daemon/scribe_bench.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

/// Everything in the files that tells of losses.
struct Told {
  std::uint64_t frames = 0, lost = 0, dropped = 0;
  std::vector<RecorderNote> notes;
};

Told read_all(const std::vector<std::string>& paths) {
  auto source = CaptureSource::open(paths);
  REQUIRE(source.ok());
  Told told;
  for (auto events = source->read(); !events.empty(); events = source->read())
    for (const Event& event : events) {
      if (event.kind != EventKind::notice) {
        ++told.frames;
        continue;
      }
      if (const auto* lost = std::get_if<FramesLost>(event.notice)) told.lost += lost->frames;
      if (const auto* counters = std::get_if<Counters>(event.notice)) told.dropped = counters->system_dropped.value_or(0);
      if (const auto* note = std::get_if<RecorderNote>(event.notice)) told.notes.push_back(*note);
    }
  return told;
}

/// `count` frames, 10 ms apart, with statistics each second, flushed each tenth of a second.
struct Traffic {
  Scribe& scribe;
  BusIndex bus;
  TimeNs now = kBegin;
  std::uint64_t frames = 0;
  void send(unsigned count) {
    for (unsigned i = 0; i < count; ++i) {
      now += 10 * kMillisecond;
      put_frame(scribe, bus, now, 0x0CFE4980, frames++);
      if (frames % 100 == 0) scribe.counters(bus, now, {frames, 0, 0});
      if (frames % 10 == 0) scribe.flush(now);
    }
  }
};

}  // namespace

TEST_CASE("A disk that takes nothing: what finds no room is counted, told, and forgotten by the examiner once the disk is back") {
  BenchOptions options;
  options.disk_bytes = 20'000;
  options.writer_runs = false;
  Bench bench(options);
  Traffic traffic{bench.scribe, bench.scribe.bus("can0", 250'000)};
  put_frame(bench.scribe, 0, kBegin, 0x18EEFF80, 0xA0088000F3C10001);
  ++traffic.frames;
  traffic.send(2'000);
  bench.scribe.flush(traffic.now);
  const std::uint64_t missing = bench.scribe.not_recorded();
  CHECK(missing > 1'000);
  CHECK(bench.disk.bytes() <= 20'000);

  // Meanwhile the live report knows more than the disk will ever have, and says so.
  for (int i = 0; i < 4000 && bench.examiner_queue.bytes() > 0; ++i) std::this_thread::sleep_for(5ms);
  ExaminerStatus status;
  (void)bench.live_report(&status);
  CHECK(status.unrecorded == missing);
  CHECK(status.frames == traffic.frames);

  bench.start_writer();
  for (int i = 0; i < 2000 && bench.disk.bytes() > 0; ++i) std::this_thread::sleep_for(5ms);
  traffic.send(1);
  bench.scribe.flush(traffic.now);  // the disk is seen to be well: another segment
  CHECK(bench.scribe.not_recorded() >= missing);
  CHECK(bench.scribe.segment() == 2);
  traffic.send(500);  // so small a queue may refuse again
  bench.finish(traffic.now);
  const std::uint64_t all_missing = bench.scribe.not_recorded();

  const Told told = read_all(bench.segments());
  CHECK(told.frames == traffic.frames - all_missing);
  CHECK(told.lost <= all_missing);  // with the next frame of the bus, which may not come any more
  CHECK(told.lost >= missing);
  CHECK(told.dropped == all_missing);
  std::uint64_t noted = 0;
  for (const RecorderNote& note : told.notes)
    if (note.kind == RecorderNote::Kind::not_recorded) noted += note.number;
  CHECK(noted == all_missing);

  const std::string live = bench.live_report(&status);
  CHECK(live == report_of(bench.segments()));
  CHECK(status.begun_anew >= 1);
  CHECK(status.unrecorded == 0);
  CHECK(status.frames == told.frames);
}

TEST_CASE("The disk fails several times in a run: each time is told once, and the sum is right") {
  BenchOptions options;
  options.disk_bytes = 10'000;
  options.writer_runs = false;
  Bench bench(options);
  Traffic traffic{bench.scribe, bench.scribe.bus("can0", 250'000)};
  std::uint64_t before = 0;
  std::vector<std::uint64_t> times;
  std::vector<std::deque<ChunkPtr>> taken;
  std::vector<std::uint8_t> file;
  for (int round = 0; round < 4; ++round) {
    traffic.send(600);
    // A disk by hand: takes all that waits.
    for (const ChunkPtr& chunk : bench.disk.pop_all(0ms)) {
      REQUIRE(chunk->recorded);
      bench.disk.done(chunk->bytes.size());
    }
    REQUIRE(bench.disk.bytes() == 0);
    traffic.send(10);
    times.push_back(bench.scribe.not_recorded() - before);
    before = bench.scribe.not_recorded();
    CHECK(times.back() > 100);
  }
  // All chunks since: the last failure's note is in them, with its own number.
  traffic.send(10);
  std::uint64_t noted = 0, notes = 0;
  for (const ChunkPtr& chunk : bench.disk.pop_all(0ms)) {
    if (chunk->begins_segment) file.clear();
    file.insert(file.end(), chunk->bytes.begin(), chunk->bytes.end());
  }
  bench.folder.write("last", std::string(file.begin(), file.end()));
  for (const RecorderNote& note : read_all({bench.folder.path("last")}).notes)
    if (note.kind == RecorderNote::Kind::not_recorded) {
      noted += note.number;
      ++notes;
    }
  CHECK(notes == 1);
  CHECK(noted == times.back());
}

TEST_CASE("An examiner that falls behind begins anew from the files; nothing is lost on the disk") {
  BenchOptions options;
  options.examiner_bytes = 20'000;
  Bench bench(options);
  Traffic traffic{bench.scribe, bench.scribe.bus("can0", 250'000)};
  // Faster than anybody can examine: it is asked something long meanwhile.
  std::deque<Answer> answers;
  for (int i = 0; i < 30; ++i) {
    ask(*bench.examiner, answers.emplace_back());
    traffic.send(300);
  }
  for (Answer& answer : answers) answer.collect();
  for (int i = 0; i < 2000 && bench.examiner_queue.bytes() > 0; ++i) std::this_thread::sleep_for(5ms);
  traffic.send(20);
  for (int i = 0; i < 2000 && bench.examiner_queue.bytes() > 0; ++i) std::this_thread::sleep_for(5ms);
  traffic.send(500);
  bench.finish(traffic.now);
  CHECK(bench.scribe.not_recorded() == 0);
  CHECK(read_all(bench.segments()).frames == traffic.frames);
  ExaminerStatus status;
  const std::string live = bench.live_report(&status);
  CHECK(status.begun_anew >= 1);
  CHECK(status.frames == traffic.frames);
  CHECK(live == report_of(bench.segments()));
}

TEST_CASE("Random overflows of both queues end with both saying the same") {
  for (unsigned seed = 1; seed <= 12; ++seed) {
    INFO("seed " << seed);
    std::mt19937 random(seed);
    BenchOptions options;
    options.disk_bytes = 5'000 + random() % 30'000;
    options.examiner_bytes = 5'000 + random() % 30'000;
    options.segment_bytes = 20'000 + random() % 60'000;
    options.writer_runs = random() % 2 == 0;
    Bench bench(options);
    MadeUpTraffic traffic(bench.scribe, seed);
    for (int i = 0; i < 600; ++i) {
      traffic.step();
      if (random() % 3 == 0) bench.scribe.flush(traffic.now());
      if (random() % 100 == 0) std::this_thread::sleep_for(20ms);
    }
    if (!bench.writer) bench.start_writer();
    // The disk is well again: a quiet end.
    for (int i = 0; i < 3; ++i) {
      bench.settle();
      traffic.step();
      bench.scribe.flush(traffic.now());
    }
    bench.settle();
    bench.finish(traffic.now());
    const Told told = read_all(bench.segments());
    CHECK(told.frames == traffic.frames() - bench.scribe.not_recorded());
    std::uint64_t noted = 0;
    for (const RecorderNote& note : told.notes)
      if (note.kind == RecorderNote::Kind::not_recorded) noted += note.number;
    CHECK(noted == bench.scribe.not_recorded());
    ExaminerStatus status;
    CHECK(bench.live_report(&status) == report_of(bench.segments()));
    CHECK(status.unrecorded == 0);
  }
}

TEST_CASE("A segment that is packed and removed while the examiner reads it again is looked for anew") {
  // Two looks at the folder: the first tells a file that is gone when it is opened.
  Folder folder;
  ChunkQueue disk(64 << 20), queue(64 << 20);
  {
    Scribe scribe({}, disk, queue, kBegin);
    const BusIndex bus = scribe.bus("can0", 250'000);
    for (int i = 0; i < 100; ++i) put_frame(scribe, bus, kBegin + i * kMillisecond, 0x0CFE4980, 1);
    scribe.flush(kBegin + kSecond);
    scribe.begin_new_segment();
    scribe.flush(kBegin + kSecond);
    scribe.finish(kBegin + kSecond);
  }
  std::vector<std::uint8_t> earlier;
  ChunkPtr head;
  for (const ChunkPtr& chunk : disk.pop_all(0ms)) {
    if (chunk->segment->segment == 1) earlier.insert(earlier.end(), chunk->bytes.begin(), chunk->bytes.end());
    if (chunk->segment->segment == 2 && chunk->begins_segment) head = chunk;
  }
  REQUIRE(head);
  folder.write("packed", std::string(earlier.begin(), earlier.end()));
  auto again = std::make_shared<Chunk>(*head);
  again->starts_over = true;
  again->last = true;
  ChunkQueue other(64 << 20);
  std::atomic<int> looks{0};
  LiveExaminer examiner(
      Schema::built_in(), {}, other,
      [&](std::uint32_t) { return std::vector<std::string>{folder.path(++looks == 1 ? "plain" : "packed")}; }, nullptr);
  other.push(again);
  for (int i = 0; i < 600 && !examiner.finished(); ++i) std::this_thread::sleep_for(5ms);
  REQUIRE(examiner.finished());
  CHECK(examiner.status().begun_anew == 1);
  CHECK(examiner.status().frames == 100);
}
