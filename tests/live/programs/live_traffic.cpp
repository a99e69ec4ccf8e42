// Sends frames on one CAN interface and says how many really went out.
//
// Numbered frames (live.hpp) at a pace or as fast as they go, or random frames that `live_count --random`
// knows again; beside them, with --healthy, what a tractor and an implement in good order say: claims (also
// when asked for them), speed every 100 ms, trouble codes every second.
#include <fcntl.h>
#include <linux/can/raw.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cerrno>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstring>
#include <thread>

#include "live.hpp"

namespace {

struct Options {
  std::string interface;
  double rate = 0;          // numbered or random frames a second; 0: as fast as they go
  double seconds = 0;       // 0: until count or SIGTERM
  std::uint64_t count = 0;  // 0: until seconds or SIGTERM
  std::uint32_t first = 1;  // first running number
  unsigned address = 0x90;
  bool random = false;
  std::uint64_t seed = 1;
  bool healthy = false;
  double speed_kmh = 0;
  bool quiet = false;    // no numbered frames
  bool confirm = false;  // wait for the echo of each frame
  std::uint64_t error_frames = 0;
  std::string progress;
};

class Sender {
 public:
  explicit Sender(const Options& options) : options_(options), fd_(live::open_raw(options.interface)) {
    if (options.confirm) {
      const int on = 1;
      if (setsockopt(fd_, SOL_CAN_RAW, CAN_RAW_RECV_OWN_MSGS, &on, sizeof on) != 0)
        live::give_up("own messages");
    } else if (!options.healthy) {
      setsockopt(fd_, SOL_CAN_RAW, CAN_RAW_FILTER, nullptr, 0);  // hears nothing
    }
    if (!options.progress.empty()) {
      progress_ = open(options.progress.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644);
      if (progress_ < 0) live::give_up(options.progress);
    }
  }

  /// False when the interface is gone or went down, or a stop was asked for.
  bool send(const can_frame& frame) {
    while (!live::is_stopped()) {
      if (write(fd_, &frame, sizeof frame) == static_cast<ssize_t>(sizeof frame)) {
        ++sent_;
        return !options_.confirm || await_echo();
      }
      if (errno == EINTR) continue;
      if (errno != ENOBUFS && errno != EAGAIN) {
        std::fprintf(stderr, "%s: %s\n", options_.interface.c_str(), std::strerror(errno));
        return false;
      }
      ++refused_;  // the queue is full: the wire takes 0.6 ms a frame
      std::this_thread::sleep_for(std::chrono::microseconds(300));
    }
    return false;
  }

  void answer_requests() {
    can_frame frame{};
    while (recv(fd_, &frame, sizeof frame, MSG_DONTWAIT) == static_cast<ssize_t>(sizeof frame)) {
      const std::uint32_t id = frame.can_id & CAN_EFF_MASK;
      if (((id >> 16U) & 0xFFU) == 0xEA && frame.len >= 3 && frame.data[0] == 0x00 && frame.data[1] == 0xEE)
        claim();
    }
  }
  void claim() {  // NAMEs of the fact sheet's test vectors: an implement, a tractor
    send(live::make_frame(0x18EEFF80, {0x45, 0x23, 0x01, 0x7D, 0x00, 0x80, 0x0C, 0xA0}));
    send(live::make_frame(0x18EEFFF0, {0x01, 0x00, 0x00, 0x7D, 0x00, 0x86, 0x00, 0xA0}));
  }
  void speed() {  // 0.001 m/s, 0.001 m; forward, key on
    const auto mm_per_s = static_cast<int>(std::lround(options_.speed_kmh / 3.6 * 1000));
    distance_ += static_cast<std::uint32_t>(mm_per_s / 10);
    const auto far = [this](unsigned shift) { return static_cast<int>((distance_ >> shift) & 0xFFU); };
    for (const std::uint32_t id : {0x0CFE48F0U, 0x0CFE49F0U})
      send(live::make_frame(id,
                            {mm_per_s & 0xFF, mm_per_s >> 8, far(0), far(8), far(16), far(24), 0xFF, 0xF5}));
  }
  void trouble_codes() {  // none
    for (const std::uint32_t id : {0x18FECA80U, 0x18FECAF0U})
      send(live::make_frame(id, {0x00, 0xFF, 0x00, 0x00, 0x00, 0x00, 0xFF, 0xFF}));
  }

  void tell_progress(std::uint32_t number) const {
    if (progress_ < 0) return;
    char line[32];
    const int size = std::snprintf(line, sizeof line, "%010u\n", number);
    if (pwrite(progress_, line, static_cast<std::size_t>(size), 0) != size) live::give_up(options_.progress);
  }

  std::uint64_t sent() const { return sent_; }
  std::uint64_t refused() const { return refused_; }
  std::uint64_t unconfirmed() const { return unconfirmed_; }

 private:
  bool await_echo() {
    pollfd ready{fd_, POLLIN, 0};
    while (poll(&ready, 1, 1000) == 1) {
      can_frame frame{};
      iovec part{&frame, sizeof frame};
      msghdr header{};
      header.msg_iov = &part;
      header.msg_iovlen = 1;
      if (recvmsg(fd_, &header, MSG_DONTWAIT) < 0) return false;
      if ((header.msg_flags & MSG_CONFIRM) != 0) return true;
    }
    ++unconfirmed_;
    return true;
  }

  const Options& options_;
  int fd_;
  int progress_ = -1;
  std::uint64_t sent_ = 0;
  std::uint64_t refused_ = 0;
  std::uint64_t unconfirmed_ = 0;
  std::uint32_t distance_ = 0;
};

struct Result {
  std::uint64_t numbered = 0;
  double seconds = 0;
  double latest_ms = 0;  // how late the latest of the paced frames was
};

Result play(const Options& options, Sender& sender) {
  using live::Clock;
  live::RandomFrames random(options.seed);
  Result result;
  if (options.healthy) {
    sender.claim();
    std::this_thread::sleep_for(std::chrono::milliseconds(250));
  }
  const auto begin = Clock::now();
  const auto after = [&](double seconds) {
    return begin + std::chrono::duration_cast<Clock::duration>(std::chrono::duration<double>(seconds));
  };
  std::uint64_t speeds = 0;
  std::uint64_t told = 0;
  while (!live::is_stopped()) {
    const auto now = Clock::now();
    const double passed = std::chrono::duration<double>(now - begin).count();
    if (options.seconds > 0 && passed >= options.seconds) break;
    if (options.count > 0 && result.numbered >= options.count) break;

    auto next = after(passed + 0.1);
    if (options.healthy) {
      sender.answer_requests();
      if (passed >= 0.1 * static_cast<double>(speeds)) {
        sender.speed();
        if (speeds % 10 == 0) sender.trouble_codes();
        ++speeds;
      }
      next = std::min(next, after(0.1 * static_cast<double>(speeds)));
    }
    if (!options.quiet) {
      // All that is due by now; as fast as they go, in portions so that the clock is looked at.
      const std::uint64_t due =
          options.rate > 0 ? static_cast<std::uint64_t>(passed * options.rate) + 1 : result.numbered + 100;
      if (options.rate > 0 && due > result.numbered + 1)
        result.latest_ms =
            std::max(result.latest_ms, 1000 * (passed - static_cast<double>(result.numbered) / options.rate));
      while (result.numbered < due && (options.count == 0 || result.numbered < options.count)) {
        const auto number = options.first + static_cast<std::uint32_t>(result.numbered);
        const auto address = static_cast<std::uint8_t>(options.address);
        if (!sender.send(options.random ? random.next() : live::numbered_frame(number, address))) {
          result.seconds = live::seconds_since(begin);
          return result;
        }
        ++result.numbered;
      }
      if (passed * 50 >= static_cast<double>(told)) {  // every 20 ms
        sender.tell_progress(options.first + static_cast<std::uint32_t>(result.numbered) - 1);
        told = static_cast<std::uint64_t>(passed * 50) + 1;
      }
      next =
          options.rate > 0 ? std::min(next, after(static_cast<double>(result.numbered) / options.rate)) : now;
    }
    std::this_thread::sleep_until(next);
  }
  result.seconds = live::seconds_since(begin);
  return result;
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app{"Sends test frames on a CAN interface", "live_traffic"};
  app.add_option("interface", options.interface)->required();
  app.add_option("--rate", options.rate, "Frames a second; without it as fast as they go");
  app.add_option("--seconds", options.seconds);
  app.add_option("--count", options.count);
  app.add_option("--first", options.first, "First running number");
  app.add_option("--address", options.address, "Source address of the numbered frames")
      ->check(CLI::Range(0, 253));
  app.add_flag("--random", options.random, "Random frames in place of numbered ones");
  app.add_option("--seed", options.seed);
  app.add_flag("--healthy", options.healthy, "Also what a healthy bus says");
  app.add_option("--speed-kmh", options.speed_kmh);
  app.add_flag("--quiet", options.quiet, "No numbered frames");
  app.add_flag("--confirm", options.confirm, "Wait for the echo of each frame");
  app.add_option("--error-frames", options.error_frames,
                 "Send so many error frames (bus error, stuff) and end");
  app.add_option("--progress", options.progress, "Keep the last number sent in this file");
  CLI11_PARSE(app, argc, argv);
  live::catch_stop_signals();

  Sender sender(options);
  Result result;
  if (options.error_frames > 0) {
    can_frame frame{};
    frame.can_id = CAN_ERR_FLAG | 0x88U;
    frame.len = 8;
    frame.data[2] = 0x04;
    for (std::uint64_t i = 0; i < options.error_frames && sender.send(frame); ++i) {
    }
  } else {
    result = play(options, sender);
  }
  std::printf(
      "sent=%llu numbered=%llu first=%u last=%u refused=%llu unconfirmed=%llu seconds=%.3f latest_ms=%.1f\n",
      static_cast<unsigned long long>(sender.sent()), static_cast<unsigned long long>(result.numbered),
      options.first, options.first + static_cast<std::uint32_t>(result.numbered) - 1,
      static_cast<unsigned long long>(sender.refused()),
      static_cast<unsigned long long>(sender.unconfirmed()), result.seconds, result.latest_ms);
  return 0;
}
