#include "wire/replay.hpp"

#include <fmt/format.h>
#include <time.h>

#include <algorithm>
#include <cerrno>
#include <map>
#include <utility>
#include <variant>

namespace tramlog {
namespace {

constexpr SpanNs kLongestSleep = 100 * kMillisecond;  // between two looks at the stop flag
constexpr SpanNs kTellEvery = 250 * kMillisecond;

bool is_stopped(const StopFlag* stop) {
  return stop && stop->load(std::memory_order_relaxed);
}

/// False if `stop` was raised meanwhile.
bool sleep_until(TimeNs moment, const StopFlag* stop) {
  for (;;) {
    if (is_stopped(stop)) return false;
    const TimeNs now = running_time();
    if (now >= moment) return true;
    const TimeNs wake = std::min(moment, now + kLongestSleep);
    const timespec at{static_cast<time_t>(wake / kSecond), static_cast<long>(wake % kSecond)};
    ::clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &at, nullptr);
  }
}

class Player {
 public:
  Player(const ReplayOptions& options, const StopFlag* stop,
         const std::function<void(const ReplayTally&)>& progress)
      : options_(options), stop_(stop), progress_(progress), schedule_(options.pace) {}

  std::optional<Error> open();
  /// False when the replay is over; failure() if by trouble.
  bool take(const Event& event);
  const std::optional<Error>& failure() const { return failure_; }
  ReplayTally finish();

 private:
  void meet_bus(BusIndex bus, const std::string& name);
  SpeakingSocket* socket_of(BusIndex bus) { return bus < by_bus_.size() ? by_bus_[bus] : nullptr; }
  bool put(SpeakingSocket& socket, const std::uint8_t* frame, std::size_t size);

  const ReplayOptions& options_;
  const StopFlag* stop_;
  const std::function<void(const ReplayTally&)>& progress_;
  ReplaySchedule schedule_;
  std::map<std::string, SpeakingSocket> sockets_;  // by interface
  std::vector<SpeakingSocket*> by_bus_;            // null: no route
  std::optional<TimeNs> begin_;
  TimeNs told_ = 0;
  ReplayTally tally_;
  std::optional<Error> failure_;
};

std::optional<Error> Player::open() {
  if (!(options_.pace.factor > 0) || options_.pace.factor > 1e6)
    return Error{ErrorKind::usage, "this pace makes no sense", fmt::format("{}", options_.pace.factor),
                 "give a factor over 0; 2 is twice as fast"};
  if (options_.routes.empty())
    return Error{ErrorKind::usage, "no interface to play to", "", "name one, such as can0"};
  for (const ReplayRoute& route : options_.routes) {
    const auto twice = std::count_if(options_.routes.begin(), options_.routes.end(),
                                     [&](const ReplayRoute& other) { return other.bus == route.bus; });
    if (twice > 1)
      return Error{ErrorKind::usage, "this bus of the capture is sent to more than one interface", route.bus,
                   "name it once"};
    if (sockets_.contains(route.interface)) continue;
    auto socket = SpeakingSocket::open(route.interface);
    if (!socket) return socket.error();
    socket->close_ears();
    sockets_.emplace(route.interface, std::move(*socket));
  }
  return std::nullopt;
}

void Player::meet_bus(BusIndex bus, const std::string& name) {
  const auto route_for = [&](const std::string& wanted) {
    return std::find_if(options_.routes.begin(), options_.routes.end(),
                        [&](const ReplayRoute& route) { return route.bus == wanted; });
  };
  auto route = route_for(name);
  if (route == options_.routes.end()) route = route_for("*");
  if (by_bus_.size() <= bus) by_bus_.resize(bus + 1u, nullptr);
  by_bus_[bus] = route == options_.routes.end() ? nullptr : &sockets_.at(route->interface);
}

bool Player::take(const Event& event) {
  if (event.kind == EventKind::notice) {
    const BusInfo* info = event.notice ? std::get_if<BusInfo>(event.notice) : nullptr;
    if (info) meet_bus(event.bus, info->name);
    ++tally_.notices;
    return true;
  }
  if ((options_.from && event.time < *options_.from) || (options_.to && event.time > *options_.to)) {
    ++tally_.outside;
    return true;
  }
  if (event.kind == EventKind::error) {
    ++tally_.errors;
    return true;
  }
  std::uint8_t frame[72];
  const std::size_t size = encode_frame(event, frame);
  if (size == 0) {
    ++tally_.foreign;
    return true;
  }
  SpeakingSocket* socket = socket_of(event.bus);
  if (!socket) {
    ++tally_.unrouted;
    return true;
  }
  if ((event.flags & kFd) != 0 && !socket->takes_fd()) {
    ++tally_.no_fd;
    return true;
  }
  if (!begin_) begin_ = running_time();
  const TimeNs due = later_by(*begin_, schedule_.due(event.time));
  if (!sleep_until(due, stop_)) {
    tally_.interrupted = true;
    return false;
  }
  if (!put(*socket, frame, size)) return false;
  const TimeNs now = running_time();
  ++tally_.sent;
  tally_.latest = std::max(tally_.latest, span_between(due, now));
  if (progress_ && now - told_ >= kTellEvery) {
    told_ = now;
    tally_.took = span_between(*begin_, now);
    progress_(tally_);
  }
  return true;
}

bool Player::put(SpeakingSocket& socket, const std::uint8_t* frame, std::size_t size) {
  TimeNs give_up = 0;
  for (;;) {
    const SpeakingSocket::Sent sent = socket.send(frame, size);
    if (sent == SpeakingSocket::Sent::yes) return true;
    const TimeNs now = running_time();
    if (give_up == 0) {
      give_up = now + options_.patience;
      ++tally_.waits;
    }
    if (sent == SpeakingSocket::Sent::failed || now >= give_up) {
      failure_ = socket.last_error();
      return false;
    }
    if (!sleep_until(now + kMillisecond, stop_)) {
      tally_.interrupted = true;
      return false;
    }
  }
}

ReplayTally Player::finish() {
  if (begin_) tally_.took = span_between(*begin_, running_time());
  tally_.cut_pauses = schedule_.cut_pauses();
  tally_.steps_back = schedule_.steps_back();
  return tally_;
}

}  // namespace

Result<std::vector<Talker>> who_talks(const std::vector<std::string>& interfaces, SpanNs listen,
                                      const StopFlag* stop) {
  std::vector<SpeakingSocket> sockets;
  for (const std::string& interface : interfaces) {
    auto socket = SpeakingSocket::open(interface);
    if (!socket) return socket.error();
    sockets.push_back(std::move(*socket));
  }
  std::map<std::pair<std::string, int>, std::uint64_t> heard;  // -1: no ISO 11783 frames
  const TimeNs end = running_time() + listen;
  for (bool last = false; !last;) {
    last = running_time() >= end || is_stopped(stop);
    for (SpeakingSocket& socket : sockets) {
      const auto error = socket.read([&](const Event& event, bool) {
        if (event.kind == EventKind::frame)
          ++heard[{socket.interface(), event.is_iso11783() ? static_cast<int>(event.id & 0xFF) : -1}];
      });
      if (error) return *error;
    }
    if (!last) sleep_until(std::min(end, running_time() + 20 * kMillisecond), stop);
  }
  std::vector<Talker> talkers;
  for (const auto& [who, frames] : heard) {
    Talker& talker = talkers.emplace_back();
    talker.interface = who.first;
    if (who.second >= 0) talker.address = static_cast<std::uint8_t>(who.second);
    talker.frames = frames;
  }
  return talkers;
}

std::string busy_text(const std::vector<Talker>& talkers) {
  std::map<std::string, std::vector<std::string>> names;
  for (const Talker& talker : talkers)
    names[talker.interface].push_back(talker.address ? fmt::format("0x{:02X}", *talker.address)
                                                     : std::string("a unit without ISO 11783 frames"));
  std::string text;
  for (const auto& [interface, who] : names) {
    text += text.empty() ? "busy: " : "; ";
    for (std::size_t i = 0; i < who.size(); ++i) {
      if (i != 0) text += i + 1 == who.size() ? " and " : ", ";
      text += who[i];
    }
    text += fmt::format(" {} talking on {}", who.size() == 1 ? "is" : "are", interface);
  }
  return text;
}

Result<ReplayTally> replay(CaptureSource& source, const ReplayOptions& options, const StopFlag* stop,
                           const std::function<void(const ReplayTally&)>& progress) {
  Player player(options, stop, progress);
  if (auto error = player.open()) return std::move(*error);
  for (auto events = source.read(); !events.empty(); events = source.read()) {
    for (const Event& event : events) {
      if (player.take(event)) continue;
      if (player.failure()) return *player.failure();
      return player.finish();
    }
  }
  return player.finish();
}

}  // namespace tramlog
