#include "record/keeper.hpp"

#include <fmt/format.h>
#include <linux/ioprio.h>
#include <pthread.h>
#include <sched.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <sys/syscall.h>
#include <unistd.h>

#include <atomic>
#include <chrono>
#include <condition_variable>
#include <cstring>
#include <mutex>
#include <thread>
#include <utility>

#include "record/durable.hpp"
#include "record/keeper_stock.hpp"
#include "record/packer.hpp"
#include "record/segment_index.hpp"

namespace tramlog {
namespace {

using namespace std::chrono_literals;
using Clock = std::chrono::steady_clock;
using Kind = KeeperNews::Kind;

constexpr auto kRound = 60s;                             // between two looks at the folder
constexpr std::uint64_t kSpareBytes = 16 * 1024 * 1024;  // that packing leaves free

/// Whatever the system does not allow is done without.
void be_humble() {
  ::pthread_setname_np(::pthread_self(), "keeper");
  ::setpriority(PRIO_PROCESS, 0, 19);
  const sched_param idle{};
  ::sched_setscheduler(0, SCHED_IDLE, &idle);
  ::syscall(SYS_ioprio_set, IOPRIO_WHO_PROCESS, 0, IOPRIO_PRIO_VALUE(IOPRIO_CLASS_IDLE, 0));
}

std::int64_t tick() {
  return std::chrono::duration_cast<std::chrono::nanoseconds>(Clock::now().time_since_epoch()).count();
}

std::optional<std::uint64_t> free_bytes(const std::string& folder) {
  struct statvfs space {};
  if (::statvfs(folder.c_str(), &space) != 0) return std::nullopt;
  return static_cast<std::uint64_t>(space.f_bavail) * space.f_frsize;
}

std::string mib(std::uint64_t bytes) {
  return fmt::format("{:.1f} MiB", static_cast<double>(bytes) / (1024 * 1024));
}

std::string sentence(const Error& error) {
  return error.what + "; " + error.remedy;
}

}  // namespace

class Keeper::Impl {
 public:
  Impl(std::string folder, KeeperOptions options, std::function<void(KeeperNews)> tell)
      : folder_(std::move(folder)), options_(options), tell_(std::move(tell)) {
    look();
    thread_ = std::thread([this] { run(); });
  }
  ~Impl() {
    {
      const std::lock_guard lock(mutex_);
      stopping_ = true;
      give_up_ = true;
    }
    wake_.notify_all();
    thread_.join();
  }
  Impl(const Impl&) = delete;
  Impl& operator=(const Impl&) = delete;

  void opened(const std::string& path, TimeNs start);
  void closed(const std::string& path);
  void protect(TimeNs from, TimeNs to, std::string why);
  bool make_room();
  void set_options(const KeeperOptions& options);
  KeeperStatus status() const;

 private:
  void run();
  void look();
  void write_marks();
  void retain();
  bool pack_one();
  bool index_one();
  int remove(const SegmentKey& key, const char* why);
  void give_news();
  std::string path_of(const SegmentName& name) const { return folder_ + "/" + segment_name(name); }
  /// With the lock.
  TimeNs capture_now() const {
    return latest_opened_ ? later_by(*latest_opened_, tick() - latest_opened_tick_) : stock_.latest_start();
  }

  const std::string folder_;
  mutable std::mutex mutex_;
  std::condition_variable wake_, packed_;
  KeeperOptions options_;
  const std::function<void(KeeperNews)> tell_;
  KeeperStock stock_;
  std::vector<KeeperNews> news_;
  std::optional<TimeNs> latest_opened_;
  std::int64_t latest_opened_tick_ = 0;
  bool due_ = true;  // a look at the folder and the limits
  bool new_marks_ = false;
  bool woken_ = false;
  bool limits_held_ = true;
  bool told_folder_ = false;
  std::atomic<bool> stopping_{false};
  std::atomic<bool> give_up_{false};  // packing
  std::thread thread_;
};

void Keeper::Impl::opened(const std::string& path, TimeNs start) {
  const auto name = parse_segment_name(leaf_of(path));
  if (!name) return;
  const std::lock_guard lock(mutex_);
  stock_.opened(*name, start);
  latest_opened_ = start;
  latest_opened_tick_ = tick();
  new_marks_ = woken_ = true;
  wake_.notify_all();
}

void Keeper::Impl::closed(const std::string& path) {
  const auto name = parse_segment_name(leaf_of(path));
  if (!name) return;
  const std::lock_guard lock(mutex_);
  stock_.closed(*name);
  due_ = woken_ = true;
  wake_.notify_all();
}

void Keeper::Impl::protect(TimeNs from, TimeNs to, std::string why) {
  const std::lock_guard lock(mutex_);
  stock_.protect({from, to, std::move(why)});
  new_marks_ = woken_ = true;
  wake_.notify_all();
}

void Keeper::Impl::set_options(const KeeperOptions& options) {
  const std::lock_guard lock(mutex_);
  options_ = options;
  due_ = woken_ = true;
  wake_.notify_all();
}

KeeperStatus Keeper::Impl::status() const {
  KeeperStatus status;
  std::vector<std::string> open;
  {
    const std::lock_guard lock(mutex_);
    for (const auto& [key, segment] : stock_.segments()) {
      ++status.segments;
      if (segment.is_protected()) ++status.is_protected;
      if (options_.compress && segment.is_waiting()) ++status.waiting;
      status.bytes += segment.is_open ? segment.beside_bytes : segment.bytes();
      if (segment.is_open) open.push_back(path_of(segment.name));
    }
  }
  for (const std::string& path : open) {
    struct stat file {};
    if (::stat(path.c_str(), &file) == 0) status.bytes += static_cast<std::uint64_t>(file.st_size);
  }
  status.free_bytes = free_bytes(folder_).value_or(0);
  return status;
}

/// What is in the folder now.
void Keeper::Impl::look() {
  {
    const std::lock_guard lock(mutex_);
    stock_.begin_look();
  }
  const auto listing = list_folder(folder_);
  const std::lock_guard lock(mutex_);
  if (listing) {
    stock_.take_look(listing.value());
    told_folder_ = false;
  } else if (!std::exchange(told_folder_, true)) {
    news_.push_back({Kind::failed, folder_ + ": " + sentence(listing.error())});
  }
}

void Keeper::Impl::run() {
  be_humble();
  auto next_round = Clock::now();
  while (!stopping_) {
    bool due = false, new_marks = false;
    {
      const std::lock_guard lock(mutex_);
      woken_ = false;
      due = std::exchange(due_, false) || Clock::now() >= next_round;
      new_marks = std::exchange(new_marks_, false) || due;
    }
    if (new_marks) write_marks();
    if (due) {
      look();
      retain();
      next_round = Clock::now() + kRound;
    }
    give_news();
    if (stopping_) break;
    if (pack_one() || index_one()) continue;
    std::unique_lock lock(mutex_);
    wake_.wait_until(lock, next_round, [&] { return woken_ || stopping_; });
  }
  // What was promised is kept.
  write_marks();
  give_news();
}

void Keeper::Impl::give_news() {
  std::vector<KeeperNews> news;
  {
    const std::lock_guard lock(mutex_);
    news.swap(news_);
  }
  if (tell_)
    for (KeeperNews& one : news) tell_(std::move(one));
}

void Keeper::Impl::write_marks() {
  std::map<SegmentKey, std::pair<SegmentName, std::vector<KeepMark>>> work;
  {
    const std::lock_guard lock(mutex_);
    for (auto& [key, marks] : stock_.take_marks())
      if (const auto found = stock_.segments().find(key); found != stock_.segments().end())
        work[key] = {found->second.name, std::move(marks)};
  }
  for (auto& [key, job] : work) {
    const auto written = add_keep_marks(folder_, job.first, job.second);
    const std::lock_guard lock(mutex_);
    if (written) {
      stock_.marks_written(key);
      continue;
    }
    stock_.keep_later(key, std::move(job.second));
    const auto found = stock_.segments().find(key);
    if (found == stock_.segments().end() || std::exchange(found->second.told_keeping, true)) continue;
    news_.push_back(
        {Kind::failed, segment_name(job.first) +
                           ": protected, but only until the recorder ends: " + sentence(written.error())});
  }
}

/// The files of a segment that is marked `removing`. 0 or the errno.
int Keeper::Impl::remove(const SegmentKey& key, const char* why) {
  KeptSegment segment;
  {
    const std::lock_guard lock(mutex_);
    segment = stock_.segments().at(key);
  }
  SegmentName plain = segment.name, packed = segment.name;
  plain.compressed = false;
  packed.compressed = true;
  int code = remove_file(path_of(plain));
  if (const int other = remove_file(path_of(packed)); code == 0) code = other;
  if (code == 0) {
    remove_file(index_path(path_of(packed)));
    for (const std::string& name : segment.beside) remove_file(folder_ + "/" + name);
    // A name that comes back after a power cut is no harm: it is removed again.
  }
  const std::lock_guard lock(mutex_);
  if (code == 0) {
    stock_.removed(key);
    news_.push_back({Kind::removed, fmt::format("{}: {} removed {}", segment_name(segment.name),
                                                mib(segment.bytes()), why)});
    return 0;
  }
  KeptSegment& still = stock_.segments().at(key);
  still.removing = false;
  still.stuck = true;
  if (!std::exchange(still.told_removing, true))
    news_.push_back({Kind::failed, fmt::format("{}: cannot be removed ({})", segment_name(segment.name),
                                               std::strerror(code))});
  return code;
}

void Keeper::Impl::retain() {
  const auto free = free_bytes(folder_);
  std::vector<SegmentKey> removals;
  {
    const std::lock_guard lock(mutex_);
    const RetentionPlan plan =
        stock_.plan(options_.limits, free.value_or(UINT64_MAX), capture_now(), removals);
    for (const SegmentKey& key : removals) stock_.segments().at(key).removing = true;
    if (plan.limits_hold != limits_held_) {
      limits_held_ = plan.limits_hold;
      news_.push_back(
          plan.limits_hold
              ? KeeperNews{Kind::limits_held, "the limits of the recording hold again"}
              : KeeperNews{
                    Kind::limits_not_held,
                    fmt::format("the limits of the recording cannot be held: {} too much, and what is left "
                                "is protected or in use; remove keep files or raise the limits",
                                mib(plan.excess_bytes))});
    }
  }
  for (const SegmentKey& key : removals) remove(key, "to hold the limits");
}

bool Keeper::Impl::make_room() {
  std::unique_lock lock(mutex_);
  while (const auto key = stock_.oldest_removable()) {
    stock_.segments().at(*key).removing = true;
    lock.unlock();
    const bool done = remove(*key, "because the disk is full") == 0;
    lock.lock();
    woken_ = true;
    wake_.notify_all();
    if (done) return true;
  }
  const auto is_packing = [&] {
    for (const auto& [key, segment] : stock_.segments())
      if (segment.packing) return true;
    return false;
  };
  if (!is_packing()) return false;
  give_up_ = true;
  return packed_.wait_for(lock, 1s, [&] { return !is_packing(); });
}

/// True if there may be more to do.
bool Keeper::Impl::pack_one() {
  KeptSegment segment;
  SegmentKey key;
  const auto free = free_bytes(folder_);
  {
    const std::lock_guard lock(mutex_);
    const auto found = options_.compress && !stopping_ ? stock_.next_to_pack(tick()) : std::nullopt;
    if (!found) return false;
    key = *found;
    KeptSegment& chosen = stock_.segments().at(key);
    if (free && *free < chosen.plain_bytes + kSpareBytes) {
      chosen.pack_after = tick() + std::chrono::nanoseconds(kRound).count();
      return true;
    }
    chosen.packing = true;
    give_up_ = false;
    segment = chosen;
  }
  segment.name.compressed = false;
  const auto packed = pack_segment(path_of(segment.name), give_up_);
  {
    const std::lock_guard lock(mutex_);
    KeptSegment& done = stock_.segments().at(key);
    done.packing = false;
    due_ = true;
    if (packed) {
      done.name.compressed = done.has_packed = done.index_seen = true;
      done.has_plain = false;
      done.plain_bytes = 0;
      done.packed_bytes = packed.value().packed_bytes;
      news_.push_back(
          {Kind::packed, fmt::format("{}: {} packed to {}", segment_name(segment.name),
                                     mib(packed.value().plain_bytes), mib(packed.value().packed_bytes))});
    } else {
      done.pack_after = tick() + std::chrono::nanoseconds(kRound).count();
      // One that people removed meanwhile is not there to be packed: the next look shows it.
      if (!give_up_ && packed.error().kind != ErrorKind::input && !std::exchange(done.told_packing, true))
        news_.push_back(
            {Kind::failed, segment_name(segment.name) + ": not packed: " + sentence(packed.error())});
    }
  }
  packed_.notify_all();
  return true;
}

bool Keeper::Impl::index_one() {
  std::string path;
  SegmentKey key;
  {
    const std::lock_guard lock(mutex_);
    const auto found = stock_.next_to_index();
    if (!found) return false;
    key = *found;
    path = path_of(stock_.segments().at(key).name);
  }
  std::string trouble;
  if (!read_index(path)) {
    const auto index = build_index(path, &stopping_);
    if (!index) {
      trouble = sentence(index.error());
      remove_file(index_path(path));
    } else if (const auto written = write_index(path, index.value()); !written) {
      trouble = sentence(written.error());
    }
  }
  if (stopping_) return false;
  std::unique_lock lock(mutex_);
  const auto found = stock_.segments().find(key);
  if (found == stock_.segments().end()) {
    // Removed meanwhile: no index may be left behind.
    lock.unlock();
    remove_file(index_path(path));
    return true;
  }
  found->second.index_seen = true;
  if (!trouble.empty()) news_.push_back({Kind::failed, leaf_of(path) + ": has no index: " + trouble});
  return true;
}

Keeper::Keeper(std::string folder, KeeperOptions options, std::function<void(KeeperNews)> tell)
    : impl_(std::make_unique<Impl>(std::move(folder), options, std::move(tell))) {}
Keeper::~Keeper() = default;
void Keeper::opened(std::string path, TimeNs start) {
  impl_->opened(path, start);
}
void Keeper::closed(std::string path) {
  impl_->closed(path);
}
void Keeper::protect(TimeNs from, TimeNs to, std::string why) {
  impl_->protect(from, to, std::move(why));
}
bool Keeper::make_room() {
  return impl_->make_room();
}
void Keeper::set_options(const KeeperOptions& options) {
  impl_->set_options(options);
}
KeeperStatus Keeper::status() const {
  return impl_->status();
}

}  // namespace tramlog
