#include "daemon/listener.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <atomic>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/steady_timer.hpp>
#include <future>
#include <thread>

#include "base/text.hpp"
#include "daemon/bus_line.hpp"
#include "wire/link_monitor.hpp"
#include "wire/link_settings.hpp"

namespace tramlog {
namespace {

namespace asio = boost::asio;
using namespace std::chrono_literals;

// The kernel stamps each frame, so they may wait this long; a hundred times a second is cheaper than two thousand times.
constexpr auto kGulpEvery = 10ms;
constexpr auto kPatience = 2s;  // of others with this thread
// Frames of one gulp from one bus; beyond, the others come first.
constexpr int kReadsPerGulp = 16;
// A gulp of this many says that the next one is due at once.
constexpr std::size_t kLargeGulp = 128;

}  // namespace

class Listener::Impl {
 public:
  Impl(ListenerOptions options, Scribe& scribe, TimeKeeper time, Hooks hooks)
      : options_(std::move(options)), scribe_(scribe), time_(time), hooks_(std::move(hooks)) {}
  ~Impl() { stop(); }

  std::optional<Error> start() {
    auto monitor = LinkMonitor::open();
    if (!monitor) return monitor.error();
    monitor_ = std::make_unique<LinkMonitor>(std::move(*monitor));
    links_.assign(monitor_->descriptor());
    thread_ = std::thread([this] {
      monitor_->ask_all();
      await_links();
      await_second();
      context_.run();
    });
    return std::nullopt;
  }

  void stop() {
    if (!thread_.joinable()) return;
    ended_ = true;
    asio::post(context_, [this] {
      stopping_ = true;
      while (gulp() >= kReadsPerGulp * CanSocket::kMost) {
      }
      hooks_.every_flush(scribe_, time_.now());
      scribe_.finish(time_.now());
      for (auto& line : lines_) close_ear(*line);
      links_.release();
      context_.stop();
    });
    thread_.join();
  }

  std::vector<InterfaceStatus> status() const {
    const std::lock_guard lock(mutex_);
    return status_;
  }
  TimeNs now() const {
    const auto clocks = read_clocks();
    const std::lock_guard lock(mutex_);
    // Steps since the last look are not known here; the look is a second old at most.
    return clocks ? clocks->running + pace_ : last_now_;
  }
  SpanNs clock_shift() const {
    const std::lock_guard lock(mutex_);
    return shift_;
  }

  bool awake_within(SpanNs span) const {
    const auto clocks = read_clocks();
    const std::lock_guard lock(mutex_);
    return !clocks || last_running_ == 0 || clocks->running - last_running_ <= span;
  }

  std::optional<TimeNs> note(RecorderNote note) {
    if (ended_) return std::nullopt;
    auto written = std::make_shared<std::promise<TimeNs>>();
    auto decided = std::make_shared<std::atomic<bool>>(false);  // whoever comes first: it is noted, or given up
    auto time = written->get_future();
    asio::post(context_, [this, written, decided, note = std::move(note)] {
      if (decided->exchange(true)) return;
      gulp();  // what was heard before it comes before it
      const TimeNs at = time_.now();
      scribe_.note(0, at, note);
      scribe_.flush(at);
      written->set_value(at);
    });
    // The run may be ending.
    if (time.wait_for(kPatience) != std::future_status::ready && !decided->exchange(true)) return std::nullopt;
    return time.get();
  }

  void reconfigure(ListenerOptions options) {
    asio::post(context_, [this, options = std::move(options)]() mutable {
      options_ = std::move(options);
      for (auto& line : lines_) line->settings_tried = false;
      monitor_->ask_all();
    });
  }

 private:
  struct Ear {
    explicit Ear(asio::io_context& context) : descriptor(context) {}
    asio::posix::stream_descriptor descriptor;
  };

  void journal(Level level, const std::string& text) const { hooks_.journal(level, text); }

  // ---- frames

  void await_frames(BusLine& line) {
    Ear& ear = *ears_[line.bus];
    if (!line.socket || line.armed) return;
    line.armed = true;
    ear.descriptor.async_wait(asio::posix::stream_descriptor::wait_read, [this, &line](const boost::system::error_code& error) {
      if (error) return;  // let go of by close_ear()
      line.armed = false;
      if (stopping_ || gulp_pending_) return;
      gulp_pending_ = true;
      gulp_timer_.expires_after(kGulpEvery);
      gulp_timer_.async_wait([this](const boost::system::error_code& cancelled) {
        if (!cancelled && !stopping_) go_on_gulping();
      });
    });
  }

  void go_on_gulping() {
    const std::size_t most = gulp();
    scribe_.flush(time_.now());
    if (most >= kLargeGulp) {
      asio::post(context_, [this] {
        if (!stopping_) go_on_gulping();
      });
      return;
    }
    gulp_pending_ = false;
    for (auto& line : lines_) await_frames(*line);
  }

  /// Empties the sockets; the most that one bus had.
  std::size_t gulp() {
    heard_.resize(lines_.size());
    std::size_t most = 0;
    for (auto& line : lines_) {
      auto& heard = heard_[line->bus];
      heard.clear();
      if (!line->socket) continue;
      Gulp result = Gulp::more;
      for (int reads = 0; reads < kReadsPerGulp && result == Gulp::more; ++reads) result = line->socket->read(heard);
      most = std::max(most, heard.size());
      if (result == Gulp::gone) close_ear(*line);
      // Down and other failures: netlink says more, and the socket hears again by itself.
    }
    observe();
    hand_over();
    return most;
  }

  void observe() {
    const auto clocks = read_clocks();
    if (!clocks) return;
    const auto step = time_.observe(*clocks);
    {
      const std::lock_guard lock(mutex_);
      last_now_ = time_.now();
      last_running_ = clocks->running;
      pace_ = time_.now() - clocks->running;
      shift_ = time_.shift();
    }
    if (!step) return;
    RecorderNote note;
    note.kind = RecorderNote::Kind::clock_stepped;
    note.span = *step;
    scribe_.note(0, time_.now(), note);
    journal(Level::info, fmt::format("the system's clock was put {} by {}; recording goes on at its own pace",
                                     *step < 0 ? "back" : "forward", format_span(magnitude(*step))));
  }

  /// All buses in the order of time; each bus in its own order whatever its stamps say.
  void hand_over() {
    std::size_t with_frames = 0;
    for (auto& line : lines_) {
      auto& heard = heard_[line->bus];
      with_frames += heard.empty() ? 0 : 1;
      for (HeardFrame& frame : heard) line->stamp(frame, time_);
    }
    if (with_frames == 0) return;
    if (with_frames == 1) {
      for (auto& line : lines_)
        for (const HeardFrame& frame : heard_[line->bus]) line->pass_on(frame, scribe_);
      return;
    }
    std::vector<std::size_t> next(lines_.size(), 0);
    for (;;) {
      BusLine* first = nullptr;
      for (auto& line : lines_) {
        if (next[line->bus] >= heard_[line->bus].size()) continue;
        if (first == nullptr || heard_[line->bus][next[line->bus]].kernel_time < heard_[first->bus][next[first->bus]].kernel_time)
          first = line.get();
      }
      if (first == nullptr) return;
      first->pass_on(heard_[first->bus][next[first->bus]++], scribe_);
    }
  }

  // ---- interfaces

  void await_links() {
    links_.async_wait(asio::posix::stream_descriptor::wait_read, [this](const boost::system::error_code& error) {
      if (error || stopping_) return;
      take_links();
      await_links();
    });
  }

  void take_links() {
    const LinkMonitor::News news = monitor_->read();
    if (news.missed) monitor_->ask_all();
    bool changed = false;
    for (const LinkInfo& link : news.links) {
      if (!link.is_can) continue;
      const bool wanted = std::any_of(options_.listen.begin(), options_.listen.end(),
                                      [&](const std::string& pattern) { return matches_glob(pattern, link.name); });
      if (wanted) changed = take_link(link) || changed;
    }
    if (changed) {
      publish();
      scribe_.flush(time_.now());
    }
  }

  bool knows(const std::string& name) const {
    return std::any_of(lines_.begin(), lines_.end(), [&](const auto& line) { return line->name == name; });
  }

  BusLine& line_of(const LinkInfo& link) {
    for (auto& line : lines_)
      if (line->name == link.name) return *line;
    const BusIndex bus = scribe_.bus(link.name, link.bitrate.value_or(0));
    lines_.push_back(std::make_unique<BusLine>(link.name, bus));
    ears_.push_back(std::make_unique<Ear>(context_));
    return *lines_.back();
  }

  bool take_link(const LinkInfo& link) {
    gulp();  // what was heard until now comes before the change
    const std::size_t before = lines_.size();
    if (link.removed && !knows(link.name)) return false;
    BusLine& line = line_of(link);
    const bool known = lines_.size() == before;
    if (!known) journal(Level::info, fmt::format("{}: listening ({})", link.name, link.up ? "up" : "down"));
    if (link.removed)
      line.settings_tried = false;  // what returns may be another adapter
    else if (!line.settings_tried)
      apply_settings(line, link);
    const bool changed = line.take(link, scribe_, time_.now(), [&](bool bad, const std::string& text) {
      journal(bad ? Level::warning : Level::info, fmt::format("{}: {}", line.name, text));
    });
    if (link.removed || link.index != line.socket_index) close_ear(line);
    if (!link.removed && !line.socket) open_ear(line, link);
    return changed || !known;
  }

  void open_ear(BusLine& line, const LinkInfo& link) {
    auto socket = CanSocket::open(link.name, link.index, options_.buffer_bytes);
    if (!socket) {
      if (line.open_error != socket.error().what)
        journal(Level::warning, fmt::format("{}: {}; {}", link.name, socket.error().what, socket.error().remedy));
      line.open_error = socket.error().what;
      return;
    }
    line.open_error.clear();
    line.opened(std::move(*socket), link.index);
    ears_[line.bus]->descriptor.assign(line.socket->descriptor());
    await_frames(line);
  }

  void close_ear(BusLine& line) {
    if (!line.socket) return;
    ears_[line.bus]->descriptor.release();  // the socket is closed by its owner
    line.armed = false;
    line.socket.reset();
    line.socket_index = 0;
  }

  void apply_settings(BusLine& line, const LinkInfo& link) {
    line.settings_tried = true;
    for (const InterfaceSettings& wish : options_.settings) {
      if (wish.name != link.name || wish.wish.empty()) continue;
      if (link.up && missing_settings(wish.wish, link).empty()) return;
      const auto set = set_link(link.name, wish.wish);
      RecorderNote note;
      note.kind = RecorderNote::Kind::interface;
      note.of_bus = true;
      if (!set) {
        note.text = "its settings could not be made: " + set.error().what;
        journal(Level::warning, fmt::format("{}: {} : {}", link.name, set.error().what, set.error().remedy));
      } else {
        note.text = "was set as the configuration says";
        journal(Level::info, fmt::format("{}: set as the configuration says", link.name));
      }
      scribe_.note(line.bus, time_.now(), note);
      monitor_->ask_all();
      return;
    }
  }

  // ---- every second

  void await_second() {
    second_timer_.expires_after(1s);
    second_timer_.async_wait([this](const boost::system::error_code& cancelled) {
      if (cancelled || stopping_) return;
      second();
      await_second();
    });
  }

  void second() {
    gulp();
    const TimeNs now = time_.now();
    for (auto& line : lines_)
      line->every_second(scribe_, now, [&](bool bad, const std::string& text) {
        journal(bad ? Level::warning : Level::info, fmt::format("{}: {}", line->name, text));
      });
    if (lines_.empty() && ++seconds_without_bus_ == 3)
      journal(Level::warning, "no CAN interface is there that [interfaces] listen names; each is recorded as soon as it appears");
    hooks_.every_flush(scribe_, now);
    scribe_.flush(now);
    publish();
    monitor_->ask_all();
    for (auto& line : lines_)
      if (!gulp_pending_) await_frames(*line);
  }

  void publish() {
    std::vector<InterfaceStatus> status;
    for (const auto& line : lines_) status.push_back(line->status());
    for (const std::string& name : options_.listen) {
      const bool pattern = name.find_first_of("*?[") != std::string::npos;
      if (pattern || knows(name)) continue;
      InterfaceStatus missing;
      missing.name = name;
      missing.state = "missing";
      missing.detail = "no interface of this name: adapter plugged in? driver loaded?";
      status.push_back(std::move(missing));
    }
    const std::lock_guard lock(mutex_);
    status_ = std::move(status);
  }

  ListenerOptions options_;
  Scribe& scribe_;
  TimeKeeper time_;
  Hooks hooks_;
  asio::io_context context_{1};
  asio::posix::stream_descriptor links_{context_};
  asio::steady_timer gulp_timer_{context_}, second_timer_{context_};
  std::unique_ptr<LinkMonitor> monitor_;
  std::vector<std::unique_ptr<BusLine>> lines_;  // by bus number
  std::vector<std::unique_ptr<Ear>> ears_;
  std::vector<std::vector<HeardFrame>> heard_;   // of one gulp, by bus
  unsigned seconds_without_bus_ = 0;
  bool gulp_pending_ = false;
  bool stopping_ = false;            // of its thread
  std::atomic<bool> ended_{false};   // for others
  mutable std::mutex mutex_;
  std::vector<InterfaceStatus> status_;
  TimeNs last_now_ = 0, last_running_ = 0;
  SpanNs pace_ = 0, shift_ = 0;  // recorder's time minus running time; minus real time
  std::thread thread_;
};

Listener::Listener(ListenerOptions options, Scribe& scribe, TimeKeeper time, Hooks hooks)
    : impl_(std::make_unique<Impl>(std::move(options), scribe, time, std::move(hooks))) {}
Listener::~Listener() = default;
std::optional<Error> Listener::start() { return impl_->start(); }
void Listener::stop() { impl_->stop(); }
std::vector<InterfaceStatus> Listener::status() const { return impl_->status(); }
TimeNs Listener::now() const { return impl_->now(); }
bool Listener::awake_within(SpanNs span) const { return impl_->awake_within(span); }
SpanNs Listener::clock_shift() const { return impl_->clock_shift(); }
std::optional<TimeNs> Listener::note(RecorderNote note) { return impl_->note(std::move(note)); }
void Listener::reconfigure(ListenerOptions options) { impl_->reconfigure(std::move(options)); }

}  // namespace tramlog
