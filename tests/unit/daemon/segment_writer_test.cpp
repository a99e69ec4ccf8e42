// The thread at the disk, with a disk that fails in every way that an ordinary folder can be made to.
#include <fcntl.h>
#include <sys/resource.h>
#include <sys/stat.h>

#include <csignal>

#include "unit/daemon/scribe_bench.hpp"

using namespace tramlog;
using namespace tramlog::test;

namespace {

std::shared_ptr<const SegmentHead> head_of(std::uint32_t segment) {
  auto head = std::make_shared<SegmentHead>();
  head->segment = segment;
  head->start = kBegin + segment * kMinute;
  head->name = segment_name({1, segment, head->start, false});
  return head;
}

/// Chunks with bytes that tell where they belong.
struct Source {
  explicit Source(ChunkQueue& the_queue) : queue(the_queue) {}
  void begin() {
    ++segment;
    head = head_of(segment);
    expected.emplace_back();
    fresh = true;
  }
  bool push(std::size_t size, bool last = false) {
    auto chunk = std::make_shared<Chunk>();
    chunk->segment = head;
    chunk->begins_segment = fresh;
    chunk->last = last;
    for (std::size_t i = 0; i < size; ++i) chunk->bytes.push_back(static_cast<std::uint8_t>(counter++ * 2654435761u >> 24));
    const std::string bytes(chunk->bytes.begin(), chunk->bytes.end());
    if (!queue.push(chunk)) return false;
    fresh = false;
    expected.back() += bytes;
    return true;
  }
  void check(const Folder& folder) const {
    for (std::uint32_t i = 1; i <= segment; ++i) {
      INFO("segment " << i);
      const std::string got = folder.read(head_of(i)->name);
      REQUIRE(got.size() == expected[i - 1].size());
      REQUIRE((got == expected[i - 1]));
    }
  }

  ChunkQueue& queue;
  std::uint32_t segment = 0;
  std::shared_ptr<const SegmentHead> head;
  bool fresh = false;
  unsigned counter = 0;
  std::vector<std::string> expected;
};

struct Told {
  std::mutex mutex;
  std::vector<std::string> calls;
  std::atomic<int> rooms{0};
  WriterHooks hooks() {
    WriterHooks hooks;
    hooks.opened = [this](const std::string& path, TimeNs) { add("opened " + fs::path(path).filename().string()); };
    hooks.closed = [this](const std::string& path) { add("closed " + fs::path(path).filename().string()); };
    hooks.make_room = [this] {
      ++rooms;
      return false;
    };
    return hooks;
  }
  void add(std::string what) {
    const std::lock_guard lock(mutex);
    calls.push_back(std::move(what));
  }
};

template <class Condition>
bool within(std::chrono::milliseconds patience, Condition condition) {
  for (; patience > 0ms; patience -= 10ms) {
    if (condition()) return true;
    std::this_thread::sleep_for(10ms);
  }
  return condition();
}

/// Files cannot grow beyond this while it lives.
class SizeLimit {
 public:
  explicit SizeLimit(rlim_t bytes) {
    std::signal(SIGXFSZ, SIG_IGN);
    ::getrlimit(RLIMIT_FSIZE, &before_);
    rlimit limit = before_;
    limit.rlim_cur = bytes;
    ::setrlimit(RLIMIT_FSIZE, &limit);
  }
  ~SizeLimit() { lift(); }
  void lift() { ::setrlimit(RLIMIT_FSIZE, &before_); }

 private:
  rlimit before_{};
};

}  // namespace

TEST_CASE("Segments reach the disk as they were handed over, and hooks are called in order") {
  Folder folder;
  ChunkQueue queue(64 << 20);
  Told told;
  Source source(queue);
  for (int s = 0; s < 3; ++s) {
    source.begin();
    for (int i = 0; i < 5; ++i) source.push(s == 1 ? 700'000 : 100);  // larger than one write, too
  }
  source.push(1, true);
  SegmentWriter writer({folder.path(), 700ms}, queue, told.hooks());
  REQUIRE(within(10s, [&] { return writer.finished(); }));
  source.check(folder);
  std::vector<std::string> expected;
  for (std::uint32_t s = 1; s <= 3; ++s) {
    expected.push_back("opened " + head_of(s)->name);
    expected.push_back("closed " + head_of(s)->name);
  }
  CHECK(told.calls == expected);
  CHECK(writer.take_news().empty());
  CHECK(writer.status().written == 3'501'001);
  CHECK(writer.status().waiting == 0);
  CHECK(writer.latest_segment() == 3);
  CHECK(folder.names().size() == 3);
  struct stat state {};
  REQUIRE(::stat(folder.path(head_of(1)->name).c_str(), &state) == 0);
  CHECK((state.st_mode & 0777 & ~0640) == 0);
}

TEST_CASE("What was handed over is on the disk within a second, also without a last chunk") {
  Folder folder;
  ChunkQueue queue(64 << 20);
  Told told;
  SegmentWriter writer({folder.path(), 100ms}, queue, told.hooks());
  Source source(queue);
  source.begin();
  for (int i = 0; i < 10; ++i) {
    source.push(1'000);
    REQUIRE(within(1s, [&] { return folder.read(head_of(1)->name) == source.expected[0]; }));
  }
  CHECK(within(1s, [&] { return writer.status().segment_bytes == 10'000; }));
  CHECK(writer.status().segment == head_of(1)->name);
  CHECK_FALSE(writer.finished());
}

TEST_CASE("A file that may not grow: trouble is told once, goes on where it was good, nothing twice") {
  Folder folder;
  ChunkQueue queue(64 << 20);
  Told told;
  Source source(queue);
  source.begin();
  std::vector<SegmentWriter::News> news;
  {
    SizeLimit limit(10'500);  // in the middle of a chunk: a part of it is written
    SegmentWriter writer({folder.path(), 100ms}, queue, told.hooks());
    for (int i = 0; i < 20; ++i) source.push(1'000);
    REQUIRE(within(5s, [&] { return !writer.status().trouble.empty(); }));
    std::this_thread::sleep_for(1200ms);  // two tries more
    for (int i = 0; i < 20; ++i) source.push(1'000);
    const auto status = writer.status();
    CHECK(status.waiting >= 29'000);
    CHECK(status.trouble.find("File too large") != std::string::npos);
    limit.lift();
    REQUIRE(within(5s, [&] { return writer.status().trouble.empty(); }));
    source.push(10, true);
    REQUIRE(within(5s, [&] { return writer.finished(); }));
    news = writer.take_news();
    CHECK(writer.status().written == 40'010);
    CHECK(writer.status().waiting == 0);
  }
  source.check(folder);
  REQUIRE(news.size() == 2);
  CHECK(news[0].begins);
  CHECK(news[0].text.find("takes no data") == 0);
  CHECK_FALSE(news[1].begins);
  CHECK(news[1].text.find("is well again after ") == 0);
  CHECK(told.calls == std::vector<std::string>{"opened " + head_of(1)->name, "closed " + head_of(1)->name});
}

TEST_CASE("A file that may not grow, again and again at other places") {
  std::mt19937 random(5);
  for (int round = 0; round < 4; ++round) {
    Folder folder;
    ChunkQueue queue(64 << 20);
    Told told;
    Source source(queue);
    std::vector<SegmentWriter::News> news;
    SegmentWriter writer({folder.path(), 50ms}, queue, told.hooks());
    source.begin();
    for (int i = 0; i < 3; ++i) {
      SizeLimit limit(3'000 + random() % 20'000);
      for (int k = 0; k < 30; ++k) {
        if (random() % 10 == 0) source.begin();
        source.push(100 + random() % 2'000);
      }
      std::this_thread::sleep_for(300ms);
    }
    source.push(1, true);
    REQUIRE(within(10s, [&] { return writer.finished(); }));
    source.check(folder);
    // Begin and end of trouble take turns.
    bool begins = true;
    for (const auto& one : writer.take_news()) {
      CHECK(one.begins == begins);
      begins = !begins;
    }
    CHECK(begins);
  }
}

TEST_CASE("The writer gives up when it is told so: what is on disk is whole up to a place, and it does not hang") {
  Folder folder;
  ChunkQueue queue(64 << 20);
  Told told;
  Source source(queue);
  source.begin();
  SizeLimit limit(4'096);
  SegmentWriter writer({folder.path(), 100ms}, queue, told.hooks());
  for (int i = 0; i < 20; ++i) source.push(1'000);
  REQUIRE(within(5s, [&] { return !writer.status().trouble.empty(); }));
  writer.stop();
  REQUIRE(within(3s, [&] { return writer.finished(); }));
  const std::string got = folder.read(head_of(1)->name);
  CHECK(got.size() == 4'096);
  CHECK(source.expected[0].starts_with(got));
}

TEST_CASE("No new file can be made: the chunks wait, and the segments follow in order once it can") {
  Folder folder;
  ChunkQueue queue(64 << 20);
  Told told;
  Source source(queue);
  const std::string hidden = folder.path() + "-hidden";
  fs::rename(folder.path(), hidden);
  {
    SegmentWriter writer({folder.path(), 100ms}, queue, told.hooks());
    source.begin();
    source.push(500);
    source.begin();
    source.push(600);
    REQUIRE(within(5s, [&] { return !writer.status().trouble.empty(); }));
    CHECK(writer.status().trouble.find("lets no new file be made") == 0);
    std::this_thread::sleep_for(1100ms);
    CHECK(queue.bytes() == 1'100);
    fs::rename(hidden, folder.path());
    source.push(700, true);
    REQUIRE(within(5s, [&] { return writer.finished(); }));
    const auto news = writer.take_news();
    REQUIRE(news.size() == 2);
    CHECK(news[0].begins);
    CHECK_FALSE(news[1].begins);
    CHECK(writer.status().trouble.empty());
  }
  source.check(folder);
  CHECK(told.calls.size() == 4);
}

/// Root may write everywhere; so as somebody else for a while.
class Unprivileged {
 public:
  explicit Unprivileged(const Folder& folder) {
    if (::geteuid() != 0) return;
    REQUIRE(::chown(folder.path().c_str(), 65534, 65534) == 0);
    REQUIRE(::seteuid(65534) == 0);
    changed_ = true;
  }
  ~Unprivileged() {
    if (changed_ && ::seteuid(0) != 0) std::abort();
  }

 private:
  bool changed_ = false;
};

TEST_CASE("A folder that is read-only for a while") {
  Folder folder;
  const Unprivileged somebody(folder);
  ChunkQueue queue(64 << 20);
  Told told;
  Source source(queue);
  ::chmod(folder.path().c_str(), 0500);
  SegmentWriter writer({folder.path(), 100ms}, queue, told.hooks());
  source.begin();
  source.push(500);
  REQUIRE(within(5s, [&] { return !writer.status().trouble.empty(); }));
  ::chmod(folder.path().c_str(), 0700);
  source.push(1, true);
  REQUIRE(within(5s, [&] { return writer.finished(); }));
  source.check(folder);
}

TEST_CASE("A file of the segment's name that is there already is not overwritten") {
  Folder folder;
  ChunkQueue queue(64 << 20);
  Told told;
  Source source(queue);
  source.begin();
  folder.write(head_of(1)->name, "precious");
  SegmentWriter writer({folder.path(), 100ms}, queue, told.hooks());
  source.push(500, true);
  REQUIRE(within(5s, [&] { return !writer.status().trouble.empty(); }));
  CHECK(folder.read(head_of(1)->name) == "precious");
  CHECK_FALSE(writer.finished());
  fs::remove(folder.path(head_of(1)->name));
  REQUIRE(within(5s, [&] { return writer.finished(); }));
  source.check(folder);
}

TEST_CASE("A file removed under the writer: the recorder learns of it within seconds") {
  Folder folder;
  ChunkQueue queue(64 << 20);
  Told told;
  Source source(queue);
  SegmentWriter writer({folder.path(), 100ms}, queue, told.hooks());
  source.begin();
  source.push(1'000);
  REQUIRE(within(2s, [&] { return folder.read(head_of(1)->name).size() == 1'000; }));
  fs::remove(folder.path(head_of(1)->name));
  bool wished = false;
  for (int i = 0; i < 30 && !wished; ++i) {
    source.push(1'000);
    std::this_thread::sleep_for(100ms);
    wished = writer.take_new_segment_wish();
  }
  CHECK(wished);
}

TEST_CASE("A file removed while the disk fails: what follows is a file that can be read") {
  BenchOptions options;
  Bench bench(options);
  const BusIndex bus = bench.scribe.bus("can0", 250'000);
  TimeNs now = kBegin;
  const auto send = [&](int count) {
    for (int i = 0; i < count; ++i) put_frame(bench.scribe, bus, now += 10 * kMillisecond, 0x0CFE4980, 1);
    bench.scribe.flush(now);
  };
  send(100);
  REQUIRE(within(2s, [&] { return bench.writer->status().segment_bytes > 4'000; }));
  {
    SizeLimit limit(5'500);
    send(100);
    REQUIRE(within(5s, [&] { return !bench.writer->status().trouble.empty(); }));
    fs::remove(bench.segments().at(0));
  }
  REQUIRE(within(5s, [&] { return bench.writer->status().trouble.empty(); }));
  send(100);
  REQUIRE(within(2s, [&] { return bench.disk.bytes() == 0; }));
  REQUIRE(bench.writer->take_new_segment_wish());
  bench.scribe.begin_new_segment();
  bench.scribe.flush(now);
  bench.scribe.flush(now);
  send(100);
  bench.finish(now);
  std::uint64_t frames = 0;
  for (const std::string& path : bench.segments()) {
    auto source = CaptureSource::open({path});
    INFO(path);
    REQUIRE(source.ok());
    while (!source->read().empty()) {
    }
    CHECK(source->files()[0].damaged_bytes == 0);
    frames += source->files()[0].packets;
  }
  CHECK(frames == 100);  // what was written to the file that was removed is gone with it
}

TEST_CASE("No chunk at all, and a queue that is only woken") {
  Folder folder;
  ChunkQueue queue(1'000);
  Told told;
  {
    SegmentWriter writer({folder.path(), 100ms}, queue, told.hooks());
    queue.wake();
    queue.wake();
  }
  CHECK(folder.names().empty());
  CHECK(told.calls.empty());
}

TEST_CASE("A queue takes what fits, the first chunk and the last one always") {
  ChunkQueue queue(1'000);
  const auto chunk = [](std::size_t size, bool last) {
    auto made = std::make_shared<Chunk>();
    made->bytes.resize(size);
    made->last = last;
    return made;
  };
  CHECK(queue.push(chunk(5'000, false)));
  CHECK_FALSE(queue.push(chunk(1, false)));
  CHECK(queue.push(chunk(1, true)));
  CHECK(queue.bytes() == 5'001);
  CHECK(queue.pop(0ms)->bytes.size() == 5'000);
  CHECK(queue.push(chunk(999, false)));
  CHECK_FALSE(queue.push(chunk(1, false)));
  CHECK(queue.pop_all(0ms).size() == 2);
  CHECK(queue.bytes() == 1'000);  // still waiting for the disk
  queue.done(400);
  CHECK(queue.bytes() == 600);
  queue.done(10'000);
  CHECK(queue.bytes() == 0);
  CHECK(queue.pop(0ms) == nullptr);
}
