// A recorder without a CAN bus: Scribe, SegmentWriter and LiveExaminer on made-up events, and the same files read as captures.
#pragma once

#include <poll.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>
#include <random>
#include <thread>

#include "daemon/live_examiner.hpp"
#include "daemon/scribe.hpp"
#include "exam/examiner.hpp"
#include "io/capture_reader.hpp"
#include "record/segment_name.hpp"
#include "record/segment_writer.hpp"
#include "report/format.hpp"
#include "unit/temp_folder.hpp"

namespace tramlog::test {

namespace fs = std::filesystem;
using namespace std::chrono_literals;

/// 2026-11-26T03:15:00Z.
inline constexpr TimeNs kBegin = 1'795'662'900 * kSecond;

using Folder = TempFolder;

/// The report of these captures, as the command makes it.
inline std::string report_of(const std::vector<std::string>& paths, const std::optional<Roster>& roster = std::nullopt) {
  auto source = CaptureSource::open(paths);
  REQUIRE(source.ok());
  Examiner examiner;
  for (auto events = source->read(); !events.empty(); events = source->read()) examiner.take(events);
  Report report;
  for (const CaptureFile& file : source->files()) {
    report.read_error = report.read_error || file.read_error;
    if (file.unreadable.empty()) report.files.push_back(file.fingerprint);
  }
  report.found = examiner.conclude(roster);
  return find_format("json")->report(report, {});
}

// The allocators of this compiler's address and thread sanitizers are not made ready for fork(): a copy hangs if another thread
// was just in it. The C library's is, so the program itself has not that trouble.
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
inline constexpr bool kCopiesMayHang = true;
#else
inline constexpr bool kCopiesMayHang = false;
#endif
inline constexpr int kLongestSilence = kCopiesMayHang ? 10'000 : 60'000;  // ms, of a copy

/// What a copy of the process said, once it has ended.
struct Answer {
  std::atomic<bool> begun{false};
  int pipe = -1, process = -1;
  bool died = false;
  ExaminerStatus status;
  std::string report;

  Answer() = default;
  Answer(const Answer&) = delete;
  Answer& operator=(const Answer&) = delete;
  ~Answer() {
    if (pipe >= 0) ::close(pipe);
  }
  void collect(std::chrono::seconds patience = 60s) {
    for (auto left = std::chrono::milliseconds(patience); !begun && left > 0ms; left -= 5ms) std::this_thread::sleep_for(5ms);
    REQUIRE(begun);
    REQUIRE(pipe >= 0);
    std::string text;
    char buffer[65536];
    pollfd readable{pipe, POLLIN, 0};
    while (::poll(&readable, 1, kLongestSilence) > 0) {
      const ssize_t got = ::read(pipe, buffer, sizeof buffer);
      if (got <= 0) break;
      text.append(buffer, static_cast<std::size_t>(got));
    }
    int state = 0;
    int ended = 0;
    for (int left = 200; left > 0 && (ended = ::waitpid(process, &state, WNOHANG)) == 0; --left) std::this_thread::sleep_for(5ms);
    if (ended == 0) {
      ::kill(process, SIGKILL);  // it hangs
      ended = ::waitpid(process, &state, 0);
    }
    REQUIRE(ended == process);
    died = !WIFEXITED(state) || WEXITSTATUS(state) != 0;
    const std::size_t line = text.find('\n');
    if (line == std::string::npos) {
      died = true;
      return;
    }
    const auto head = nlohmann::json::parse(text.substr(0, line));
    status.segment = head["segment"];
    status.segment_bytes = head["bytes"];
    status.frames = head["frames"];
    status.unrecorded = head["unrecorded"];
    status.begun_anew = head["anew"];
    report = text.substr(line + 1);
  }
};

inline void ask(LiveExaminer& examiner, Answer& answer) {
  examiner.ask(
      std::nullopt,
      [](Report report, const ExaminerStatus& status) {
        const nlohmann::json head = {{"segment", status.segment},   {"bytes", status.segment_bytes},    {"frames", status.frames},
                                     {"unrecorded", status.unrecorded}, {"anew", status.begun_anew}};
        return head.dump() + "\n" + find_format("json")->report(report, {});
      },
      [&answer](int pipe, int process) {
        answer.pipe = pipe;
        answer.process = process;
        answer.begun = true;
      });
}

struct BenchOptions {
  std::size_t disk_bytes = 64 << 20, examiner_bytes = 64 << 20;
  std::uint64_t segment_bytes = 64 << 20;
  SpanNs segment_span = 15 * kMinute;
  bool writer_runs = true;
};

class Bench {
 public:
  explicit Bench(const BenchOptions& options = {})
      : disk(options.disk_bytes), examiner_queue(options.examiner_bytes), scribe(scribe_options(options), disk, examiner_queue, kBegin) {
    if (options.writer_runs) start_writer();
    examiner = std::make_unique<LiveExaminer>(
        Schema::built_in(), ImplementOptions{}, examiner_queue, [this](std::uint32_t before) { return earlier(before); },
        [this](std::span<const Event> events) { seen += events.size(); });
  }
  ~Bench() {
    examiner.reset();
    writer.reset();
  }

  void start_writer() {
    WriterHooks hooks;
    hooks.opened = [this](const std::string& path, TimeNs) { at_segment = parse_segment_name(fs::path(path).filename().string())->segment; };
    hooks.closed = [this](const std::string&) { at_segment = at_segment + 1; };
    writer = std::make_unique<SegmentWriter>(WriterOptions{folder.path(), 700ms}, disk, std::move(hooks));
  }

  /// As the daemon looks for them, but it also knows that the writer has come to its end.
  std::optional<std::vector<std::string>> earlier(std::uint32_t before) const {
    if (at_segment < before) return std::nullopt;
    std::vector<std::string> paths;
    for (const std::string& name : folder.names())
      if (const auto parsed = parse_segment_name(name); parsed && parsed->segment < before) paths.push_back(folder.path(name));
    return paths;
  }

  void finish(TimeNs now) {
    scribe.finish(now);
    wait_for_end();
  }
  void wait_for_end(std::chrono::seconds patience = 60s) {
    for (auto left = std::chrono::milliseconds(patience); (!writer->finished() || !examiner->finished()) && left > 0ms; left -= 5ms)
      std::this_thread::sleep_for(5ms);
    REQUIRE(writer->finished());
    REQUIRE(examiner->finished());
  }
  /// Until both queues are empty and everything is written.
  void settle() {
    for (int i = 0; i < 6000 && (disk.bytes() > 0 || examiner_queue.bytes() > 0); ++i) std::this_thread::sleep_for(5ms);
    REQUIRE(disk.bytes() == 0);
    REQUIRE(examiner_queue.bytes() == 0);
    std::this_thread::sleep_for(150ms);  // what was taken from the queue last
  }

  std::vector<std::string> segments() const {
    std::vector<std::string> paths;
    for (const std::string& name : folder.names())
      if (parse_segment_name(name)) paths.push_back(folder.path(name));
    return paths;
  }
  /// The report of the files up to a place.
  std::string report_up_to(const std::string& segment, std::uint64_t bytes) const {
    const Folder part;
    std::vector<std::string> paths;
    for (const std::string& path : segments()) {
      const std::string name = fs::path(path).filename().string();
      if (name > segment) break;
      if (name < segment) {
        paths.push_back(path);
        continue;
      }
      const std::string whole = folder.read(name);
      REQUIRE(whole.size() >= bytes);
      part.write(name, whole.substr(0, bytes));
      paths.push_back(part.path(name));
    }
    return report_of(paths);
  }
  std::string live_report(ExaminerStatus* status = nullptr) const {
    std::unique_ptr<Answer> told;
    for (int tries = kCopiesMayHang ? 5 : 1; tries > 0 && (!told || told->died); --tries) {
      told = std::make_unique<Answer>();
      ask(*examiner, *told);
      told->collect();
    }
    Answer& answer = *told;
    REQUIRE_FALSE(answer.died);
    if (status) *status = answer.status;
    return answer.report;
  }

  Folder folder;
  ChunkQueue disk, examiner_queue;
  Scribe scribe;
  std::atomic<std::uint32_t> at_segment{0};
  std::atomic<std::uint64_t> seen{0};
  std::unique_ptr<SegmentWriter> writer;
  std::unique_ptr<LiveExaminer> examiner;

 private:
  static ScribeOptions scribe_options(const BenchOptions& options) {
    ScribeOptions scribe;
    scribe.run = 7;
    scribe.boot = 3;
    scribe.segment_bytes = options.segment_bytes;
    scribe.segment_span = options.segment_span;
    return scribe;
  }
};

/// Frames with their payloads, put into a Scribe.
inline void put_frame(Scribe& scribe, BusIndex bus, TimeNs time, std::uint32_t id, std::uint64_t payload, std::uint64_t lost = 0,
                      EventKind kind = EventKind::frame, std::uint8_t flags = kExtendedId) {
  std::uint8_t data[8];
  for (int i = 0; i < 8; ++i) data[i] = static_cast<std::uint8_t>(payload >> (8 * i));
  Event event;
  event.time = time;
  event.bus = bus;
  event.kind = kind;
  event.id = id;
  event.flags = flags;
  event.len = 8;
  event.data = data;
  scribe.frame(event, lost);
}

/// Some units on some buses, drop-outs, marks, losses and a clock that jitters; the same for the same seed.
class MadeUpTraffic {
 public:
  MadeUpTraffic(Scribe& scribe, unsigned seed) : scribe_(scribe), random_(seed) { add_bus(); }

  TimeNs now() const { return now_; }
  std::uint64_t frames() const { return frames_; }

  /// About a tenth of a second of the bus.
  void step() {
    for (std::size_t b = 0; b < buses_.size(); ++b) {
      if (buses_[b].quiet > 0) {
        --buses_[b].quiet;
        continue;
      }
      const auto bus = buses_[b].index;
      for (unsigned unit = 0; unit < 3; ++unit) {
        if (chance(400)) claim(bus, unit);
        if (buses_[b].silent == static_cast<int>(unit)) continue;
        const auto address = static_cast<std::uint32_t>(0x80 + unit);
        put(bus, 0x0CFE4900u | address, 0xFFFF000000000000u | ticks_);
        if (unit == 0) put(bus, 0x0CF00400u | address, 0xFFFF1234000000F0u);
        if (unit == 1 && ticks_ % 10 == 0) put(bus, 0x18FECA00u | address, chance(3) ? 0xFFFF010363D0FF04u : 0xFFFF00000000FF00u);
      }
      if (chance(30)) put(bus, 0x040, 0x0000000000000400u, EventKind::error, 0);
      if (chance(60)) put(bus, 0x123, random_(), EventKind::frame, 0);
      if (chance(80)) buses_[b].silent = buses_[b].silent < 0 ? static_cast<int>(random_() % 3) : -1;
      if (chance(300)) buses_[b].quiet = static_cast<int>(random_() % 60);
    }
    if (ticks_ % 10 == 0)
      for (const Bus& bus : buses_) {
        Counters counters;
        counters.received = bus.received;
        counters.interface_dropped = 0;
        counters.system_dropped = bus.lost;
        scribe_.counters(bus.index, now_, counters);
      }
    if (chance(150)) note(RecorderNote::Kind::mark, "Särad lifted at the headland");
    if (chance(300)) note(RecorderNote::Kind::clock_stepped, "");
    if (chance(300)) note(RecorderNote::Kind::interface, "is down: nothing can be heard until it is set up", true);
    if (chance(200)) {
      Bus& bus = buses_[random_() % buses_.size()];
      bus.up = !bus.up;
      scribe_.link(bus.index, now_, bus.up ? LinkState::up : LinkState::down);
    }
    if (chance(250) && buses_.size() < 3) add_bus();
    if (chance(400)) {
      const std::size_t b = random_() % buses_.size();
      scribe_.bus(buses_[b].name, random_() % 2 ? 250'000 : 500'000);
    }
    ++ticks_;
    now_ += 90 * kMillisecond + static_cast<SpanNs>(random_() % 20) * kMillisecond;
    if (chance(900)) now_ += 90 * kSecond;
    // The scribe is used with a clock that keeps a monotonic pace, but shall bear another one.
    if (chance(700)) now_ -= static_cast<SpanNs>(random_() % 5000) * kMillisecond;
  }

  bool chance(unsigned one_in) { return random_() % one_in == 0; }

 private:
  struct Bus {
    std::string name;
    BusIndex index = 0;
    std::uint64_t received = 0, lost = 0;
    int silent = -1, quiet = 0;
    bool up = true;
  };
  void add_bus() {
    Bus bus;
    bus.name = "can" + std::to_string(buses_.size());
    bus.index = scribe_.bus(bus.name, buses_.size() == 1 ? 0 : 250'000);
    buses_.push_back(bus);
    for (unsigned unit = 0; unit < 3; ++unit) claim(bus.index, unit);
  }
  void claim(BusIndex bus, unsigned unit) { put(bus, 0x18EEFF80u + unit, 0xA0088000F3C10001u + unit * 0x100000001u); }
  void put(BusIndex bus, std::uint32_t id, std::uint64_t payload, EventKind kind = EventKind::frame, std::uint8_t flags = kExtendedId) {
    const std::uint64_t lost = chance(500) ? 1 + random_() % 9 : 0;
    const SpanNs jitter = chance(50) ? -static_cast<SpanNs>(random_() % 2000) * kMicrosecond : 0;
    put_frame(scribe_, bus, now_ + jitter, id, payload, lost, kind, flags);
    ++frames_;
    Bus& own = *std::find_if(buses_.begin(), buses_.end(), [&](const Bus& one) { return one.index == bus; });
    own.received += 1 + lost;
    own.lost += lost;
  }
  void note(RecorderNote::Kind kind, const std::string& text, bool of_bus = false) {
    RecorderNote note;
    note.kind = kind;
    note.text = text;
    note.of_bus = of_bus;
    if (kind == RecorderNote::Kind::clock_stepped) note.span = 3600 * kSecond;
    scribe_.note(buses_.back().index, now_, note);
  }

  Scribe& scribe_;
  std::mt19937 random_;
  std::vector<Bus> buses_;
  TimeNs now_ = kBegin;
  std::uint64_t ticks_ = 0, frames_ = 0;
};

}  // namespace tramlog::test
