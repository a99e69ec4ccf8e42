#include "daemon/daemon.hpp"

#include <fmt/format.h>
#include <sys/statvfs.h>
#include <systemd/sd-daemon.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <csignal>
#include <filesystem>

#include "daemon/control_server.hpp"
#include "daemon/follower.hpp"
#include "daemon/journal.hpp"
#include "daemon/live_desk.hpp"
#include "daemon/request_desk.hpp"
#include "daemon/run_files.hpp"
#include "daemon/standstill.hpp"
#include "daemon/status_page.hpp"
#include "io/text_file.hpp"
#include "record/run_folder.hpp"
#include "record/segment_name.hpp"

namespace tramlog {
namespace {

namespace asio = boost::asio;
using namespace std::chrono_literals;

// The buses' thread looks at its clock every second; if it has not for so long, the watchdog is not fed.
constexpr SpanNs kListenerStuck = 20 * kSecond;
constexpr auto kFinishPatience = 20s;

/// Where time stamps begin: never before the end of the run before, unless the clock is known to be right.
SpanNs shift_of(const std::optional<PreviousRun>& previous, TimeNs real_now, std::string& words) {
  if (!previous || real_now > previous->last_time || clock_is_synchronised()) return 0;
  words = fmt::format("the system's clock was behind the end of run {}", previous->run);
  return previous->last_time + kSecond - real_now;
}

bool on_read_only_disk(const std::string& folder) {
  struct statvfs space {};
  const std::string parent = std::filesystem::path(folder).parent_path().string();
  if (::statvfs(folder.c_str(), &space) != 0 && ::statvfs(parent.empty() ? "." : parent.c_str(), &space) != 0) return false;
  return (space.f_flag & ST_RDONLY) != 0;
}

}  // namespace

class Daemon::Impl {
 public:
  Impl(Config config, std::string path, bool named)
      : config_(std::move(config)), config_path_(std::move(path)), config_named_(named) {}

  std::optional<Error> run() {
    if (auto error = begin()) return error;
    signals_.async_wait([this](const boost::system::error_code& error, int number) { on_signal(error, number); });
    feed_watchdog();
    ::sd_notifyf(0, "READY=1\nMAINPID=%ld", static_cast<long>(::getpid()));
    if (folder_)
      journal(false, fmt::format("run {} begins in {}{}", folder_->run(), config_.folder, boot_ > 0 ? fmt::format(" (boot {})", boot_) : ""));
    context_.run();
    end();
    return std::nullopt;
  }

 private:
  std::optional<Error> begin() {
    const auto tell = [](const Error& problem) { journal(true, fmt::format("{} : {} : {}", problem.what, problem.where, problem.remedy)); };
    auto roster = load_roster_if_named(config_.machine.roster);
    if (!roster) return roster.error();
    read_roster_text();
    auto schema = load_schema(config_.machine.schema, tell);
    if (!schema) return schema.error();
    schema_.emplace(std::move(*schema));
    auto implements = load_implement_options(config_.machine, *schema_, tell);
    if (!implements) return implements.error();
    auto weights = load_cause_weights(config_.machine.causes);
    if (!weights) return weights.error();

    // Before a run is begun: whoever cannot be asked should not litter. Answers are given once everything is there.
    ControlServer::Hooks control;
    control.answer = [this](const nlohmann::json& request, GiveAnswer give) { requests_->answer(request, std::move(give)); };
    control.before_follow = [this] {
      // Whoever follows names the controllers as the recorder does.
      nlohmann::json head = nlohmann::json::object();
      if (!roster_text_.empty()) {
        head["roster"] = roster_text_;
        head["roster_name"] = std::filesystem::path(config_.machine.roster).filename().string();
      }
      return head;
    };
    control.follow = [this](int descriptor) {
      auto follower = std::make_shared<SocketFollower>(descriptor);
      scribe_->add_follower([follower](const std::uint8_t* bytes, std::size_t size) { return follower->take(bytes, size); });
    };
    control_ = std::make_unique<ControlServer>(context_, std::move(control));
    if (auto error = control_->listen(config_.socket, config_.socket_group)) return error;

    auto folder = RunFolder::open(config_.folder);
    if (!folder && !on_read_only_disk(config_.folder)) return folder.error();
    if (folder)
      take_folder(std::move(*folder));
    else  // Who is missing can be told all the same.
      journal(true, fmt::format("NOTHING IS RECORDED: {} : {} : {}; examining, and trying again", folder.error().what, folder.error().where, folder.error().remedy));
    const std::optional<PreviousRun> previous = folder_ ? folder_->previous() : std::nullopt;

    const auto clocks = read_clocks();
    if (!clocks) return Error{ErrorKind::environment, "the system's clocks cannot be read", "clock_gettime", "try again when the machine is less busy"};
    ScribeOptions scribe;
    scribe.run = folder_ ? folder_->run() : 0;
    scribe.boot = boot_;
    scribe.clock_shift = shift_of(previous, clocks->real, scribe.clock_words);
    scribe.segment_bytes = config_.segment_bytes;
    scribe.segment_span = config_.segment_span;
    if (scribe.clock_shift != 0) journal(true, fmt::format("{}; times go on from there", scribe.clock_words));
    TimeKeeper time(*clocks, scribe.clock_shift);
    begun_ = time.now();

    disk_queue_.emplace(config_.buffer_bytes);
    examiner_queue_.emplace(config_.buffer_bytes);
    disk_queue_->set_open(folder_.has_value());
    if (folder_) begin_writing();
    writing_ = folder_.has_value();
    examiner_ = std::make_unique<LiveExaminer>(
        *schema_, std::move(*implements), *examiner_queue_, [this](std::uint32_t before) { return earlier_segments(before); },
        [this](std::span<const Event> events) { standstill_.take(events); }, std::move(*weights));
    scribe_ = std::make_unique<Scribe>(std::move(scribe), *disk_queue_, *examiner_queue_, begun_);

    Listener::Hooks listening;
    listening.journal = [](Listener::Level level, const std::string& text) { journal(level == Listener::Level::warning, text); };
    listening.every_flush = [this](Scribe& scribe_now, TimeNs now) { tell_disk_news(scribe_now, now); };
    listener_ = std::make_unique<Listener>(config_.interfaces, *scribe_, time, std::move(listening));
    if (auto error = listener_->start()) return error;

    LiveDesk::Hooks looking;
    looking.journal = journal;
    looking.protect = [this](TimeNs from, TimeNs to, const std::string& why) {
      if (writing_) keeper_->protect(from, to, why);
    };
    looking.run = [this] { return folder_ ? folder_->run() : 0; };
    desk_ = std::make_unique<LiveDesk>(context_, *examiner_, config_, std::move(looking));
    desk_->set_roster(std::move(*roster));
    desk_->start();

    requests_ = std::make_unique<RequestDesk>(*desk_, RequestDesk::Hooks{
        [this] { return status(); },
        [this](RecorderNote note) { return listener_->note(std::move(note)); },
        [this](const std::string& bus) { return standstill_.reasons(bus, listener_->now()); }});
    return std::nullopt;
  }

  /// For followers; now, and not while the disk may stall.
  void read_roster_text() {
    roster_text_.clear();
    if (config_.machine.roster.empty()) return;
    if (auto text = read_text_file(config_.machine.roster, kMaxRosterBytes)) roster_text_ = std::move(*text);
  }

  void take_folder(RunFolder folder) {
    folder_.emplace(std::move(folder));
    for (const std::string& sentence : folder_->mended()) journal(false, sentence);
    const auto& previous = folder_->previous();
    if (previous && !previous->clean_end)
      journal(true, fmt::format("run {} was cut off at {}", previous->run, format_date_time(previous->last_time)));
    if (previous) put_summaries_away(config_.folder, previous->run, config_.summaries_earlier);
    boot_ = count_boot(config_.folder);
  }

  void begin_writing() {
    KeeperOptions keeping;
    keeping.compress = config_.compress;
    keeping.limits.most_bytes = config_.keep_bytes;
    keeping.limits.least_free_bytes = config_.keep_free_bytes;
    // With a clock that nobody vouches for, everything may look too old.
    keeping.limits.most_age = clock_is_synchronised() ? config_.keep_span : 0;
    keeping_ = keeping;
    keeper_ = std::make_unique<Keeper>(config_.folder, keeping, [](const KeeperNews& news) {
      journal(news.kind == KeeperNews::Kind::failed || news.kind == KeeperNews::Kind::limits_not_held, news.text);
    });
    WriterHooks hooks;
    hooks.opened = [this](const std::string& path, TimeNs start) { keeper_->opened(path, start); };
    hooks.closed = [this](const std::string& path) { keeper_->closed(path); };
    hooks.make_room = [this] { return keeper_->make_room(); };
    writer_ = std::make_unique<SegmentWriter>(
        WriterOptions{config_.folder, std::chrono::milliseconds(config_.sync_every / kMillisecond)}, *disk_queue_, std::move(hooks));
  }

  /// The disk was read-only when the run began.
  void try_folder_again() {
    auto folder = RunFolder::open(config_.folder);
    if (!folder) return;
    take_folder(std::move(*folder));
    begin_writing();
    writing_ = true;  // the listener's thread opens the queue, and the next segment is recorded
    journal(false, fmt::format("the disk takes data again: run {} is recorded from now on", folder_->run()));
  }

  /// The segments of this run that are whole on the disk; none while the writer has not come to `before` yet.
  std::optional<std::vector<std::string>> earlier_segments(std::uint32_t before) const {
    if (!writing_) return std::nullopt;
    if (writer_->latest_segment() < before && !writer_->finished()) return std::nullopt;
    std::vector<std::string> paths;
    std::error_code error;
    for (auto at = std::filesystem::directory_iterator(folder_->path(), error); !error && at != std::filesystem::directory_iterator();
         at.increment(error)) {
      const auto name = parse_segment_name(at->path().filename().string());
      if (name && name->run == folder_->run() && name->segment < before) paths.push_back(at->path().string());
    }
    std::sort(paths.begin(), paths.end());
    // While one is packed it is there twice for a moment; the plain one sorts first.
    const auto same = [](const std::string& a, const std::string& b) { return a + ".zst" == b; };
    paths.erase(std::unique(paths.begin(), paths.end(), same), paths.end());
    return paths;
  }

  /// From the listener's thread.
  void tell_disk_news(Scribe& scribe, TimeNs now) {
    not_recorded_ = scribe.not_recorded();
    if (!writing_) return;
    if (!queue_opened_) {
      queue_opened_ = true;
      scribe.set_run(folder_->run(), boot_);
      disk_queue_->set_open(true);
    }
    for (const SegmentWriter::News& news : writer_->take_news()) {
      RecorderNote note;
      note.kind = RecorderNote::Kind::disk;
      note.text = news.text;
      scribe.note(0, now, note);
      journal(news.begins, "the recording disk " + news.text);
    }
    if (writer_->take_new_segment_wish()) scribe.start_over();
  }

  DaemonStatus status() const {
    DaemonStatus status;
    status.run = folder_ ? folder_->run() : 0;
    status.boot = boot_;
    status.begun = begun_;
    status.now = listener_->now();
    status.clock_shift = listener_->clock_shift();
    status.clock_synchronised = clock_is_synchronised();
    status.folder = config_.folder;
    status.interfaces = listener_->status();
    if (writing_) {
      status.writer = writer_->status();
      status.keeper = keeper_->status();
    } else {
      status.writer.trouble = "is read-only: nothing is recorded";
    }
    status.examiner = examiner_->status();
    status.not_recorded = not_recorded_;
    status.buffer_bytes = config_.buffer_bytes;
    status.standing = desk_->standing();
    return status;
  }

  void feed_watchdog() {
    watchdog_.expires_after(2s);
    watchdog_.async_wait([this](const boost::system::error_code& cancelled) {
      if (cancelled) return;
      // Fed from here, and only if the buses' thread is alive too: a recorder that records nothing must not live on.
      if (listener_->awake_within(kListenerStuck)) ::sd_notify(0, "WATCHDOG=1");
      if (!writing_) try_folder_again();
      if (writing_ && keeping_.limits.most_age != config_.keep_span && clock_is_synchronised()) {
        keeping_.limits.most_age = config_.keep_span;
        keeper_->set_options(keeping_);
      }
      feed_watchdog();
    });
  }

  void on_signal(const boost::system::error_code& error, int number) {
    if (error) return;
    if (number == SIGHUP) {
      reload();
      signals_.async_wait([this](const boost::system::error_code& next_error, int next) { on_signal(next_error, next); });
      return;
    }
    journal(false, "stopping");
    ::sd_notify(0, "STOPPING=1");
    control_->close();
    watchdog_.cancel();
    listener_->stop();
    wait_for_examiner(std::chrono::steady_clock::now() + kFinishPatience);
  }

  /// The last chunk is on its way; when it is examined, one last look.
  void wait_for_examiner(std::chrono::steady_clock::time_point until) {
    if (examiner_->finished() || std::chrono::steady_clock::now() >= until)
      return desk_->finish([this] { context_.stop(); });
    watchdog_.expires_after(20ms);
    watchdog_.async_wait([this, until](const boost::system::error_code&) { wait_for_examiner(until); });
  }

  void end() {
    if (!writing_) return;
    // The writer ends with the last chunk; a disk that takes nothing may have it for a while.
    for (auto waited = 0ms; !writer_->finished() && waited < kFinishPatience; waited += 20ms) std::this_thread::sleep_for(20ms);
    const bool whole = writer_->finished();
    if (!whole) {
      journal(true, fmt::format("the disk takes nothing: {} bytes are lost, and the end of run {} with them", disk_queue_->bytes(), folder_->run()));
      writer_->stop();
    }
    writer_.reset();
    examiner_.reset();
    keeper_.reset();
    if (whole) journal(false, fmt::format("run {} ended in good order", folder_->run()));
  }

  void reload() {
    ::sd_notify(0, "RELOADING=1");
    journal(false, "reading the configuration again");
    auto fresh = load_config(config_path_, !config_named_);
    std::optional<Error> error;
    std::optional<Roster> roster;
    if (!fresh) {
      error = fresh.error();
    } else if (auto loaded = load_roster_if_named(fresh->machine.roster)) {
      roster = std::move(*loaded);
    } else {
      error = loaded.error();
    }
    if (error) {
      journal(true, fmt::format("the old configuration stays: {} : {} : {}", error->what, error->where, error->remedy));
    } else {
      // What can be changed now; the rest stays as it is.
      Config next = config_;
      next.interfaces = fresh->interfaces;
      next.machine.roster = fresh->machine.roster;
      next.protect_span = fresh->protect_span;
      next.protect_each = fresh->protect_each;
      next.summary_every = fresh->summary_every;
      next.summary_at_least_every = fresh->summary_at_least_every;
      next.summaries_earlier = fresh->summaries_earlier;
      next.events_bytes = fresh->events_bytes;
      next.events_files = fresh->events_files;
      next.journal_level = fresh->journal_level;
      if (next != *fresh)
        journal(true, "some of it waits for a restart: all of [recording] but protection, [control], and schema, limits, weights of the causes, descriptions and library of [machine]");
      listener_->reconfigure(next.interfaces);
      set_journal_level(next.journal_level);
      config_ = std::move(next);
      desk_->reconfigure(config_);
      desk_->set_roster(std::move(roster));
      read_roster_text();
      journal(false, "the new configuration is in force");
    }
    ::sd_notify(0, "READY=1");
  }

  Config config_;
  std::string config_path_;
  std::string roster_text_;  // empty: none
  bool config_named_;
  asio::io_context context_{1};
  asio::executor_work_guard<asio::io_context::executor_type> until_stopped_{context_.get_executor()};
  asio::signal_set signals_{context_, SIGTERM, SIGINT, SIGHUP};
  asio::steady_timer watchdog_{context_};
  std::optional<Schema> schema_;
  std::optional<RunFolder> folder_;  // none while the disk is read-only
  std::atomic<bool> writing_{false};  // folder, keeper and writer are there
  bool queue_opened_ = false;         // of the listener's thread
  std::uint64_t boot_ = 0;
  TimeNs begun_ = 0;
  std::atomic<std::uint64_t> not_recorded_{0};
  Standstill standstill_;
  // In the order in which they need each other.
  std::optional<ChunkQueue> disk_queue_, examiner_queue_;
  KeeperOptions keeping_;
  std::unique_ptr<Keeper> keeper_;
  std::unique_ptr<SegmentWriter> writer_;
  std::unique_ptr<LiveExaminer> examiner_;
  std::unique_ptr<Scribe> scribe_;
  std::unique_ptr<Listener> listener_;
  std::unique_ptr<LiveDesk> desk_;
  std::unique_ptr<RequestDesk> requests_;
  std::unique_ptr<ControlServer> control_;
};

Daemon::Daemon(Config config, std::string config_path, bool config_named)
    : impl_(std::make_unique<Impl>(std::move(config), std::move(config_path), config_named)) {}
Daemon::~Daemon() = default;
std::optional<Error> Daemon::run() { return impl_->run(); }

std::optional<Error> check_machine_files(const UserFiles& files, const TellProblem& tell) {
  auto roster = load_roster_if_named(files.roster);
  if (!roster) return roster.error();
  auto schema = load_schema(files.schema, tell);
  if (!schema) return schema.error();
  auto implements = load_implement_options(files, *schema, tell);
  if (!implements) return implements.error();
  auto weights = load_cause_weights(files.causes);
  if (!weights) return weights.error();
  return std::nullopt;
}

}  // namespace tramlog
