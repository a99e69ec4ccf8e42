#include "daemon/live_examiner.hpp"

#include <fcntl.h>
#include <signal.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <unistd.h>

#include <algorithm>
#include <utility>

#include "io/capture_file_reader.hpp"
#include "io/capture_reader.hpp"
#include "record/durable.hpp"

namespace tramlog {
namespace {

using namespace std::chrono_literals;
constexpr auto kPatience = 100ms;
constexpr int kMostTries = 50;
// In a burst the processor belongs to hearing and writing; what is examined waits in the queue meanwhile. (The copies that
// render reports inherit it.)
constexpr int kNice = 10;
constexpr unsigned kLongestJob = 120;  // s; a copy that takes longer has gone astray

/// The parent's handlers would tell the parent of the copy's signals.
void forget_handlers() {
  for (int number = 1; number < NSIG; ++number) ::signal(number, SIG_DFL);
  sigset_t none;
  sigemptyset(&none);
  ::sigprocmask(SIG_SETMASK, &none, nullptr);
}

/// Else whoever waits for the end of a connection or of another copy's pipe waits for this copy's end, too.
void forget_files_but(int kept) {
  constexpr int kFirst = STDERR_FILENO + 1;
  if (kept > kFirst) ::close_range(kFirst, static_cast<unsigned>(kept) - 1, 0);
  ::close_range(static_cast<unsigned>(std::max(kept + 1, kFirst)), ~0U, 0);
}

}  // namespace

/// The chunks of one segment as the bytes of a file that goes on growing.
class LiveExaminer::Feed final : public ByteSource {
 public:
  Feed(LiveExaminer& owner, ChunkPtr first) : owner_(owner), chunk_(std::move(first)) {}

  Chunk read(std::uint8_t* into, std::size_t size) override {
    for (;;) {
      if (used_ < chunk_->bytes.size()) {
        const std::size_t count = std::min(size, chunk_->bytes.size() - used_);
        std::copy_n(chunk_->bytes.data() + used_, count, into);
        used_ += count;
        const std::lock_guard lock(owner_.mutex_);
        owner_.status_.segment_bytes += count;
        return {Status::data, count};
      }
      if (chunk_->last || ended_) return {};
      // Everything that was read has been examined: the moment for a copy.
      owner_.serve();
      if (owner_.stopping_) {
        ended_ = true;
        return {};
      }
      ChunkPtr next = owner_.queue_.pop(kPatience);
      if (!next) continue;
      if (next->begins_segment) {
        owner_.next_first_ = std::move(next);
        ended_ = true;
        return {};
      }
      take(std::move(next));
    }
  }

 private:
  void take(ChunkPtr next) {
    chunk_ = std::move(next);
    used_ = 0;
    if (chunk_->recorded) return;
    const std::lock_guard lock(owner_.mutex_);
    owner_.status_.unrecorded += chunk_->events;
  }

  LiveExaminer& owner_;
  ChunkPtr chunk_;
  std::size_t used_ = 0;
  bool ended_ = false;
};

struct LiveExaminer::Reading {
  std::unique_ptr<BusTable> buses = std::make_unique<BusTable>();  // of all segments
  std::unique_ptr<CaptureFileReader> reader;                       // of the present one
};

LiveExaminer::LiveExaminer(const Schema& schema, ImplementOptions implements, ChunkQueue& queue, EarlierSegments earlier,
                           std::function<void(std::span<const Event>)> see_events, CauseWeights weights)
    : schema_(schema),
      implements_(std::move(implements)),
      weights_(std::move(weights)),
      queue_(queue),
      earlier_(std::move(earlier)),
      see_events_(std::move(see_events)),
      examiner_(std::make_unique<Examiner>(schema_, implements_)),
      reading_(std::make_unique<Reading>()),
      thread_([this] { run(); }) {}

LiveExaminer::~LiveExaminer() {
  stop();
  if (thread_.joinable()) thread_.join();
}

void LiveExaminer::stop() {
  stopping_ = true;
  queue_.wake();
}

ExaminerStatus LiveExaminer::status() const {
  const std::lock_guard lock(mutex_);
  ExaminerStatus status = status_;
  status.waiting = queue_.bytes();
  return status;
}

void LiveExaminer::ask(std::optional<Roster> roster, Job job, std::function<void(int, int)> started) {
  {
    const std::lock_guard lock(mutex_);
    requests_.push_back({std::move(roster), std::move(job), std::move(started)});
  }
  queue_.wake();
}

void LiveExaminer::run() {
  ::setpriority(PRIO_PROCESS, 0, kNice);  // of this thread only
  ChunkPtr first;
  while (!stopping_ && !first) {
    serve();
    first = queue_.pop(kPatience);
    if (first && !first->begins_segment) first.reset();
  }
  while (first && !stopping_) {
    if (first->starts_over) begin_anew(first->segment->segment);
    read_segment(std::move(first));
    first = std::exchange(next_first_, nullptr);
  }
  finished_ = true;
  while (!stopping_) {
    serve();
    queue_.pop(kPatience);
  }
}

void LiveExaminer::read_segment(ChunkPtr first) {
  const TimeNs start = first->segment->start;
  {
    const std::lock_guard lock(mutex_);
    status_.segment = first->segment->name;
    status_.segment_bytes = 0;
  }
  reading_->reader = std::make_unique<CaptureFileReader>(
      std::make_unique<ByteWindow>(std::make_unique<Feed>(*this, std::move(first))), CaptureFormat::pcapng,
      *reading_->buses, file_++, start);
  CaptureFileReader& reader = *reading_->reader;
  reader.believe_stamps();
  while (!reader.ended()) {
    const std::span<const Event> events = reader.read(next_number_);
    if (events.empty()) continue;
    examiner_->take(events);
    if (see_events_) see_events_(events);
    std::uint64_t frames = 0;
    for (const Event& event : events)
      if (event.number != 0) {
        next_number_ = event.number + 1;
        ++frames;
      }
    const std::lock_guard lock(mutex_);
    status_.frames += frames;
    status_.latest = events.back().time;
  }
  fingerprints_.push_back(reader.parser().tally().fingerprint.text());
  reading_->reader.reset();
}

/// What the disk has is what counts from now on.
void LiveExaminer::begin_anew(std::uint32_t before_segment) {
  for (int tries = 0; !stopping_; serve(), std::this_thread::sleep_for(kPatience)) {
    const auto paths = earlier_(before_segment);
    if (!paths) continue;
    // A segment may be packed or removed while it is read: then it is somewhere else, or nowhere, a moment later.
    if (read_again(*paths) || ++tries >= kMostTries) return;
  }
}

bool LiveExaminer::read_again(const std::vector<std::string>& paths) {
  auto examiner = std::make_unique<Examiner>(schema_, implements_);
  auto buses = std::make_unique<BusTable>();
  std::uint64_t frames = 0, number = 0;
  std::vector<std::string> fingerprints;
  bool whole = true;
  if (!paths.empty()) {
    auto source = CaptureSource::open(paths);
    if (!source) return false;
    for (std::span<const Event> events = source->read(); !events.empty() && !stopping_; events = source->read()) {
      for (const Event& event : events) {
        if (event.number != 0) {
          ++frames;
          number = event.number;
        } else if (const auto* info = std::get_if<BusInfo>(event.notice)) {
          (void)buses->place(*info);
        }
      }
      examiner->take(events);
    }
    for (const CaptureFile& file : source->files()) {
      whole = whole && !file.read_error && file.unreadable.empty();
      fingerprints.push_back(file.fingerprint);
    }
  }
  if (!whole) return false;
  examiner_ = std::move(examiner);
  reading_->buses = std::move(buses);
  file_ = static_cast<std::uint32_t>(fingerprints.size());
  fingerprints_ = std::move(fingerprints);
  next_number_ = number + 1;
  const std::lock_guard lock(mutex_);
  status_.frames = frames;
  status_.unrecorded = 0;
  ++status_.begun_anew;
  return true;
}

void LiveExaminer::serve() {
  std::vector<Request> requests;
  {
    const std::lock_guard lock(mutex_);
    requests.swap(requests_);
  }
  for (Request& request : requests) fork_for(request);
}

void LiveExaminer::fork_for(Request& request) {
  int ends[2];
  if (::pipe2(ends, O_CLOEXEC) != 0) return request.started(-1, -1);
  const ExaminerStatus now = status();
  sigset_t all, before;
  sigfillset(&all);
  ::pthread_sigmask(SIG_BLOCK, &all, &before);
  const pid_t process = ::fork();
  if (process == 0) {
    forget_handlers();
    ::prctl(PR_SET_PDEATHSIG, SIGKILL);
    ::alarm(kLongestJob);
    forget_files_but(ends[1]);
    Report report;
    report.files = fingerprints_;
    if (reading_->reader) report.files.push_back(reading_->reader->parser().tally().fingerprint.text());
    report.found = examiner_->conclude(request.roster, weights_);
    const std::string text = request.job(std::move(report), now);
    write_all(ends[1], {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()});
    ::_exit(0);
  }
  ::pthread_sigmask(SIG_SETMASK, &before, nullptr);
  ::close(ends[1]);
  if (process < 0) {
    ::close(ends[0]);
    return request.started(-1, -1);
  }
  request.started(ends[0], process);
}

}  // namespace tramlog
