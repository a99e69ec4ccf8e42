// The yardstick: the least that a recorder can do. One thread and socket an interface, blocking reads of many
// frames at once, the kernel's time stamps and its count of losses; frames are only counted. Ends at SIGTERM
// or after --seconds.
#include <linux/net_tstamp.h>
#include <pthread.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <sys/time.h>

#include <CLI/CLI.hpp>
#include <array>
#include <cerrno>
#include <csignal>
#include <cstdio>
#include <cstring>
#include <thread>

#include "live.hpp"

namespace {

struct Heard {
  std::uint64_t frames = 0;
  std::uint64_t stamped = 0;
  std::uint32_t drops = 0;  // SO_RXQ_OVFL: since the socket was made, as of the last frame
  std::uint64_t gulps = 0;
};

void set_option(int fd, int option, int value, const char* what) {
  if (setsockopt(fd, SOL_SOCKET, option, &value, sizeof value) != 0) live::give_up(what);
}

void listen(const std::string& interface, int buffer, Heard& heard) {
  const int fd = live::open_raw(interface);
  set_option(fd, SO_RCVBUFFORCE, buffer, "receive buffer");
  set_option(fd, SO_TIMESTAMPING, SOF_TIMESTAMPING_RX_SOFTWARE | SOF_TIMESTAMPING_SOFTWARE, "time stamps");
  set_option(fd, SO_RXQ_OVFL, 1, "count of losses");
  const timeval patience{0, 100'000};
  setsockopt(fd, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience);

  constexpr std::size_t kMost = 256;
  std::array<can_frame, kMost> frames{};
  std::array<iovec, kMost> parts{};
  std::array<std::array<char, 256>, kMost> controls{};
  std::array<mmsghdr, kMost> messages{};
  while (true) {
    for (std::size_t i = 0; i < kMost; ++i) {
      parts[i] = {&frames[i], sizeof(can_frame)};
      messages[i].msg_hdr = {};
      messages[i].msg_hdr.msg_iov = &parts[i];
      messages[i].msg_hdr.msg_iovlen = 1;
      messages[i].msg_hdr.msg_control = controls[i].data();
      messages[i].msg_hdr.msg_controllen = controls[i].size();
    }
    const int count = recvmmsg(fd, messages.data(), kMost, MSG_WAITFORONE, nullptr);
    if (count <= 0) {
      if (live::is_stopped()) return;  // and nothing more was waiting
      continue;
    }
    ++heard.gulps;
    heard.frames += static_cast<std::uint64_t>(count);
    for (int i = 0; i < count; ++i) {
      msghdr& header = messages[static_cast<std::size_t>(i)].msg_hdr;
      for (cmsghdr* part = CMSG_FIRSTHDR(&header); part != nullptr; part = CMSG_NXTHDR(&header, part)) {
        if (part->cmsg_level != SOL_SOCKET) continue;
        if (part->cmsg_type == SO_RXQ_OVFL) std::memcpy(&heard.drops, CMSG_DATA(part), sizeof heard.drops);
        if (part->cmsg_type == SO_TIMESTAMPING) ++heard.stamped;
      }
    }
  }
}

}  // namespace

int main(int argc, char** argv) {
  std::vector<std::string> interfaces;
  double seconds = 0;
  int buffer_kib = 4096;
  CLI::App app{"Counts the frames of CAN interfaces", "live_loop"};
  app.add_option("interface", interfaces)->required();
  app.add_option("--seconds", seconds, "End after this; without it at SIGTERM");
  app.add_option("--buffer-kib", buffer_kib, "Receive buffer of each socket");
  CLI11_PARSE(app, argc, argv);
  live::catch_stop_signals();

  const auto begin = live::Clock::now();
  std::vector<Heard> heard(interfaces.size());
  std::vector<std::thread> threads;
  for (std::size_t i = 0; i < interfaces.size(); ++i)
    threads.emplace_back([&, i] { listen(interfaces[i], buffer_kib * 1024, heard[i]); });
  while (!live::is_stopped() && (seconds <= 0 || live::seconds_since(begin) < seconds))
    std::this_thread::sleep_for(std::chrono::milliseconds(50));
  std::raise(SIGTERM);
  for (std::thread& thread : threads) thread.join();

  rusage used{};
  getrusage(RUSAGE_SELF, &used);
  const auto ms = [](const timeval& time) {
    return static_cast<double>(time.tv_sec) * 1000 + static_cast<double>(time.tv_usec) / 1000;
  };
  Heard all;
  for (std::size_t i = 0; i < heard.size(); ++i) {
    std::printf("%s=%llu ", interfaces[i].c_str(), static_cast<unsigned long long>(heard[i].frames));
    all.frames += heard[i].frames;
    all.stamped += heard[i].stamped;
    all.drops += heard[i].drops;
    all.gulps += heard[i].gulps;
  }
  std::printf("frames=%llu stamped=%llu drops=%u gulps=%llu cpu_ms=%.1f seconds=%.2f\n",
              static_cast<unsigned long long>(all.frames), static_cast<unsigned long long>(all.stamped),
              all.drops, static_cast<unsigned long long>(all.gulps), ms(used.ru_utime) + ms(used.ru_stime),
              live::seconds_since(begin));
  return 0;
}
