#include "daemon/live_desk.hpp"

#include <fmt/format.h>
#include <sys/wait.h>

#include <algorithm>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/read.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/thread_pool.hpp>
#include <atomic>
#include <boost/asio/buffer.hpp>
#include <cerrno>
#include <map>

#include "record/durable.hpp"
#include "report/format.hpp"

namespace tramlog {
namespace {

namespace asio = boost::asio;
using nlohmann::json;
using Clock = std::chrono::steady_clock;

// A technician waits two seconds for the word that something has dropped out; the dropout itself takes at least one to be one.
constexpr auto kLookEvery = std::chrono::seconds(2);
// If a look takes long, there are fewer of them.
constexpr int kShareOfTime = 10;
constexpr unsigned kMostWaitingWrites = 8;
constexpr std::size_t kEventsAtOnce = 2000;  // in one look; a hostile bus must not fill the disk with words

/// Reads what a copy renders until it ends.
class PipeReader : public std::enable_shared_from_this<PipeReader> {
 public:
  PipeReader(asio::io_context& context, int pipe, int process, std::function<void(bool died, std::string text)> done)
      : pipe_(context, pipe), process_(process), done_(std::move(done)) {}

  void start() {
    asio::async_read(pipe_, asio::dynamic_buffer(text_), [self = shared_from_this()](const boost::system::error_code&, std::size_t) {
      int state = 0;
      while (::waitpid(self->process_, &state, 0) < 0 && errno == EINTR) {
      }
      const bool well = WIFEXITED(state) && WEXITSTATUS(state) == 0;
      self->done_(!well, std::move(self->text_));
    });
  }

 private:
  asio::posix::stream_descriptor pipe_;
  int process_;
  std::function<void(bool, std::string)> done_;
  std::string text_;
};

bool is_open_trouble(const Standing& thing) {
  if (thing.severity == "note" || thing.end) return false;
  return thing.kind == "fault" || thing.kind == "dropout" || thing.kind == "roll-call" || thing.kind == "trouble-code";
}

/// Trouble of the machine; the recorder's own is no reason to keep a recording.
bool worth_keeping(const LiveEvent& event) {
  const Standing& what = event.what;
  if (what.kind == "note") return what.code == "mark";
  if (what.severity == "note") return false;
  if (what.kind != "fault" && what.kind != "dropout") return false;
  if (what.code.starts_with("recorder.") || what.code.starts_with("capture.")) return false;
  return event.event.ends_with("-begins") || event.event.ends_with("-ends");
}

}  // namespace

class LiveDesk::Impl : public std::enable_shared_from_this<Impl> {
 public:
  Impl(asio::io_context& context, LiveExaminer& examiner, const Config& config, Hooks hooks)
      : context_(context),
        examiner_(examiner),
        config_(config),
        hooks_(std::move(hooks)),
        timer_(context),
        folder_(config.folder),
        events_(config.folder, config.events_bytes, config.events_files) {}

  /// In a copy of the process; the answer's text on this loop.
  void ask(std::optional<Roster> roster, LiveExaminer::Job job, std::function<void(bool died, std::string text)> done) {
    auto answered = std::make_shared<std::function<void(bool, std::string)>>(std::move(done));
    examiner_.ask(std::move(roster), std::move(job), [this, answered](int pipe, int process) {
      asio::post(context_, [this, answered, pipe, process] {
        if (pipe < 0) return (*answered)(true, "");
        std::make_shared<PipeReader>(context_, pipe, process, *answered)->start();
      });
    });
  }

  void render(const std::string& name, bool rollcall, const FormatOptions& options, std::optional<Roster> roster, std::function<void(Rendered)> done) {
    const Format* format = find_format(name);
    if (!roster) roster = roster_;
    ask(std::move(roster),
        [format, rollcall, options](Report report, const ExaminerStatus& status) {
          const json head = {{"exit", something_wrong(report.found) ? 1 : 0},
                             {"unrecorded", status.unrecorded},
                             {"segment", status.segment},
                             {"segment_bytes", status.segment_bytes}};
          return head.dump() + "\n" + (rollcall ? format->rollcall : format->report)(report, options);
        },
        [done = std::move(done)](bool died, std::string text) {
          Rendered rendered;
          const std::size_t line = text.find('\n');
          const json head = json::parse(text.substr(0, line == std::string::npos ? 0 : line), nullptr, false);
          rendered.died = died || line == std::string::npos || !head.is_object();
          if (!rendered.died) {
            rendered.exit_code = head.value("exit", 0);
            rendered.unrecorded = head.value("unrecorded", std::uint64_t{0});
            rendered.segment = head.value("segment", "");
            rendered.segment_bytes = head.value("segment_bytes", std::uint64_t{0});
            rendered.text = text.substr(line + 1);
          }
          done(std::move(rendered));
        });
  }

  void look_later(Clock::duration pause) {
    timer_.expires_after(pause);
    timer_.async_wait([self = shared_from_this()](const boost::system::error_code& cancelled) {
      if (!cancelled && !self->finishing_) self->look(false, [self](Clock::duration took) {
        if (!self->finishing_) self->look_later(std::max<Clock::duration>(kLookEvery, took * kShareOfTime));
      });
    });
  }

  /// What is new; `always`: with both summaries, whether they are due or not.
  void look(bool always, std::function<void(Clock::duration took)> done) {
    const auto begun = Clock::now();
    const auto since_summary = begun - summary_at_;
    const bool may = always || since_summary >= std::chrono::nanoseconds(config_.summary_every);
    const bool must = always || since_summary >= std::chrono::nanoseconds(config_.summary_at_least_every);
    const std::uint64_t known = known_;
    ask(roster_,
        [may, must, known](Report report, const ExaminerStatus& status) {
          const json standing = to_json(standing_of(report.found));
          json answer = {{"latest", report.found.end}, {"frames", status.frames}, {"unrecorded", status.unrecorded}};
          const std::uint64_t now = std::hash<std::string>()(standing.dump(-1, ' ', false, json::error_handler_t::replace));
          answer["known"] = now;
          answer["standing"] = standing;
          if (must || (may && now != known)) {
            answer["text"] = find_format("text")->report(report, {});
            answer["json"] = find_format("json")->report(report, {});
          }
          return answer.dump(-1, ' ', false, json::error_handler_t::replace);
        },
        [self = shared_from_this(), begun, done = std::move(done)](bool died, std::string text) {
          const json answer = json::parse(text, nullptr, false);
          if (died || !answer.is_object()) {
            self->hooks_.journal(true, "a look at the examiner's state did not come to its end");
          } else {
            self->take(answer);
          }
          done(Clock::now() - begun);
        });
  }

  void take(const json& answer) {
    known_ = answer.value("known", std::uint64_t{0});
    std::vector<Standing> standing = standing_from_json(answer["standing"]);
    open_.clear();
    for (const Standing& thing : standing)
      if (is_open_trouble(thing) && open_.size() < 100) open_.push_back(thing.text);
    std::vector<LiveEvent> events = memory_.compare(std::move(standing), answer.value("latest", TimeNs{0}));
    std::string lines;
    const std::uint64_t run = hooks_.run();
    for (std::size_t i = 0; i < events.size(); ++i) {
      const LiveEvent& event = events[i];
      if (i < kEventsAtOnce) lines += event_line(event, run);
      // The journal gets what somebody may have to act on, and who comes and goes.
      const bool bad = event.what.severity != "note" && !event.event.ends_with("-ends") && !event.event.ends_with("-withdrawn");
      if (event.what.kind != "note" && i < kEventsAtOnce) hooks_.journal(bad, fmt::format("{}: {}", event.event, event.what.text));
      if (worth_keeping(event) && config_.protect_span > 0) {
        unsigned& times = protected_[event.what.code];
        if (++times <= 2 * config_.protect_each)  // each begins and ends
          hooks_.protect(event.time - config_.protect_span, event.time + config_.protect_span,
                         fmt::format("{} {}", event.event, event.what.text));
      }
    }
    if (events.size() > kEventsAtOnce)
      hooks_.journal(true, fmt::format("{} changes at once; the first {} are told, all of them are in the report", events.size(), kEventsAtOnce));
    std::string summary, summary_json;
    if (answer.contains("text")) {
      summary_at_ = Clock::now();
      summary = answer["text"];
      summary_json = answer["json"];
    }
    write_files(std::move(lines), std::move(summary), std::move(summary_json));
  }

  /// A disk that stalls must not hold up this loop.
  void write_files(std::string lines, std::string summary, std::string summary_json) {
    if (waiting_to_be_written_ >= kMostWaitingWrites) {
      // The next look has a newer summary; events are in the journal and in the report.
      if (!std::exchange(writes_left_out_, true)) hooks_.journal(true, "the disk is too slow for events.jsonl and the summary; some are left out");
      return;
    }
    writes_left_out_ = false;
    ++waiting_to_be_written_;
    asio::post(files_, [this, lines = std::move(lines), summary = std::move(summary), summary_json = std::move(summary_json)] {
      const bool told = events_.append(lines);
      if (!told && !events_failed_) hooks_.journal(true, "events.jsonl could not be written");
      events_failed_ = !told;
      if (!summary.empty()) {
        const bool text_written = replace_file(folder_ + "/summary.txt", summary).ok();
        const bool written = replace_file(folder_ + "/summary.json", summary_json).ok() && text_written;
        if (!written && !summary_failed_)
          hooks_.journal(true, "the summary could not be written; what is in it can be asked with tramlog report --live");
        summary_failed_ = !written;
      }
      --waiting_to_be_written_;
    });
  }

  /// Behind everything that was to be written so far.
  void when_written(std::function<void()> done) {
    asio::post(files_, [this, done = std::move(done)] { asio::post(context_, done); });
  }

  asio::io_context& context_;
  LiveExaminer& examiner_;
  Config config_;
  Hooks hooks_;
  asio::steady_timer timer_;
  const std::string folder_;
  EventFile events_;
  StandingMemory memory_;
  std::optional<Roster> roster_;
  std::vector<std::string> open_;
  std::map<std::string, unsigned> protected_;  // by code: how often
  std::uint64_t known_ = 0;
  Clock::time_point summary_at_{};
  bool finishing_ = false, writes_left_out_ = false;
  std::atomic<unsigned> waiting_to_be_written_{0};
  bool summary_failed_ = false, events_failed_ = false;  // of the thread below
  asio::thread_pool files_{1};  // last: its end waits for what uses the others
};

LiveDesk::LiveDesk(asio::io_context& context, LiveExaminer& examiner, const Config& config, Hooks hooks)
    : impl_(std::make_shared<Impl>(context, examiner, config, std::move(hooks))) {}
LiveDesk::~LiveDesk() {
  impl_->finishing_ = true;
  impl_->timer_.cancel();
  impl_->files_.join();
}
void LiveDesk::set_roster(std::optional<Roster> roster) { impl_->roster_ = std::move(roster); }
bool LiveDesk::has_roster() const { return impl_->roster_.has_value(); }
std::vector<std::string> LiveDesk::standing() const { return impl_->open_; }
void LiveDesk::reconfigure(const Config& config) {
  impl_->config_ = config;
  asio::post(impl_->files_, [impl = impl_.get(), bytes = config.events_bytes, files = config.events_files] {
    impl->events_.set_limits(bytes, files);
  });
}
void LiveDesk::render(const std::string& format, bool rollcall, const FormatOptions& options, std::optional<Roster> roster,
                      std::function<void(Rendered)> done) {
  impl_->render(format, rollcall, options, std::move(roster), std::move(done));
}
void LiveDesk::start() { impl_->look_later(kLookEvery); }
void LiveDesk::finish(std::function<void()> done) {
  impl_->finishing_ = true;
  impl_->timer_.cancel();
  impl_->look(true, [impl = impl_, done = std::move(done)](Clock::duration) { impl->when_written(done); });
}

}  // namespace tramlog
