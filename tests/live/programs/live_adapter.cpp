// A serial-line CAN adapter on a pseudo terminal: the kernel's own driver for such adapters sits at the other
// end, so that a real controller interface appears whose faults can be commanded. It prints "interface NAME",
// then obeys lines:
//
//   frame ID [HEX]      a 29-bit data frame from the bus              frame 18FECA80 00FF00000000FFFF
//   numbered N [FIRST]  N numbered frames (live.hpp) from the bus, address 0x91
//   error KIND          ack, bit0, bit1, crc, form, stuff, rx-overrun, tx-overrun
//   state NAME [RX TX]  active, warning, passive, bus-off, with the error counters
//   wait MS, raw TEXT, unplug (ends the program; so do quit and the end of its input)
//
// What the machine sends is only counted; at the end it prints how many.
#include <fcntl.h>
#include <linux/can.h>
#include <linux/if.h>
#include <linux/tty.h>
#include <poll.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <iostream>
#include <map>
#include <sstream>
#include <thread>

#include "live.hpp"

namespace {

class Adapter {
 public:
  Adapter() {
    controller_ = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
    if (controller_ < 0 || grantpt(controller_) != 0 || unlockpt(controller_) != 0)
      live::give_up("pseudo terminal");
    line_ = open(ptsname(controller_), O_RDWR | O_NOCTTY | O_CLOEXEC);
    if (line_ < 0) live::give_up("pseudo terminal");
    termios settings{};
    tcgetattr(line_, &settings);
    cfmakeraw(&settings);
    tcsetattr(line_, TCSANOW, &settings);
    const int discipline = N_SLCAN;
    if (ioctl(line_, TIOCSETD, &discipline) != 0) live::give_up("line discipline of serial CAN adapters");
    char name[IFNAMSIZ] = "";
    if (ioctl(line_, SIOCGIFNAME, name) != 0) live::give_up("name of the interface");
    std::printf("interface %s\n", name);
    std::fflush(stdout);
  }

  /// Hands bytes to the machine, all of them.
  void say(const std::string& text) {
    std::size_t done = 0;
    while (done < text.size()) {
      const ssize_t count = write(controller_, text.data() + done, text.size() - done);
      if (count < 0 && errno != EAGAIN && errno != EINTR) live::give_up("pseudo terminal");
      if (count > 0) done += static_cast<std::size_t>(count);
    }
  }
  void frame(std::uint32_t id, const std::string& data) {
    char head[16];
    std::snprintf(head, sizeof head, "T%08X", id & CAN_EFF_MASK);
    say(head + std::to_string(data.size() / 2) + data + "\r");
  }
  void numbered(std::uint32_t count, std::uint32_t first) {
    for (std::uint32_t i = 0; i < count; ++i) {
      const can_frame made = live::numbered_frame(first + i, 0x91);
      frame(made.can_id, live::hex(made.data, made.len));
      hear(0);
      if (i % 20 == 19) std::this_thread::sleep_for(std::chrono::milliseconds(12));  // as a bus: 0.6 ms each
    }
  }

  /// What the machine says, for up to `ms`.
  void hear(int ms) {
    pollfd ready{controller_, POLLIN, 0};
    while (poll(&ready, 1, ms) == 1 && (ready.revents & POLLIN) != 0) {
      char bytes[512];
      const ssize_t count = read(controller_, bytes, sizeof bytes);
      if (count <= 0) return;
      for (ssize_t i = 0; i < count; ++i) {
        if (bytes[i] != '\r') {
          if (command_.size() < 64) command_ += bytes[i];
          continue;
        }
        if (!command_.empty() && std::strchr("tTrR", command_[0]) != nullptr) ++heard_;
        command_.clear();
      }
      ms = 0;
    }
  }
  std::uint64_t heard() const { return heard_; }

 private:
  int controller_ = -1;
  int line_ = -1;
  std::uint64_t heard_ = 0;
  std::string command_;
};

const std::map<std::string, std::string> kErrors = {
    {"ack", "e1a"},  {"bit0", "e1b"},  {"bit1", "e1B"},       {"crc", "e1c"},
    {"form", "e1f"}, {"stuff", "e1s"}, {"rx-overrun", "e1o"}, {"tx-overrun", "e1O"}};
const std::map<std::string, std::string> kStates = {
    {"active", "sa"}, {"warning", "sw"}, {"passive", "sp"}, {"bus-off", "sb"}};

bool obey(const std::string& line, Adapter& adapter) {
  std::istringstream words(line);
  std::string verb;
  if (!(words >> verb)) return true;
  if (verb == "quit" || verb == "unplug") return false;
  if (verb == "frame") {
    std::string id;
    std::string data;
    words >> id >> data;
    adapter.frame(static_cast<std::uint32_t>(std::stoul(id, nullptr, 16)), data);
  } else if (verb == "numbered") {
    std::uint32_t count = 0;
    std::uint32_t first = 1;
    words >> count;
    words >> first;
    adapter.numbered(count, first == 0 ? 1 : first);
  } else if (verb == "error") {
    std::string kind;
    words >> kind;
    adapter.say(kErrors.at(kind) + "\r");
  } else if (verb == "state") {
    std::string name;
    unsigned rx = 0;
    unsigned tx = 0;
    words >> name;
    words >> rx;
    words >> tx;
    char counters[16];
    std::snprintf(counters, sizeof counters, "%03u%03u\r", rx % 1000, tx % 1000);
    adapter.say(kStates.at(name) + counters);
  } else if (verb == "wait") {
    int ms = 0;
    words >> ms;
    std::this_thread::sleep_for(std::chrono::milliseconds(ms));
  } else if (verb == "raw") {
    std::string text;
    words >> text;
    adapter.say(text + "\r");
  } else {
    std::fprintf(stderr, "live_adapter: no such command: %s\n", line.c_str());
  }
  return true;
}

}  // namespace

int main() {
  live::catch_stop_signals();
  Adapter adapter;
  std::string waiting;
  bool open = true;
  while (open && !live::is_stopped()) {
    pollfd ready{STDIN_FILENO, POLLIN, 0};
    adapter.hear(0);
    if (poll(&ready, 1, 20) <= 0) continue;
    char bytes[512];
    const ssize_t count = read(STDIN_FILENO, bytes, sizeof bytes);
    if (count <= 0) break;
    waiting.append(bytes, static_cast<std::size_t>(count));
    for (std::size_t end = waiting.find('\n'); open && end != std::string::npos; end = waiting.find('\n')) {
      try {
        open = obey(waiting.substr(0, end), adapter);
      } catch (const std::exception&) {
        std::fprintf(stderr, "live_adapter: not understood: %s\n", waiting.substr(0, end).c_str());
      }
      waiting.erase(0, end + 1);
      std::printf("done\n");
      std::fflush(stdout);
    }
  }
  adapter.hear(50);
  std::printf("heard=%llu\n", static_cast<unsigned long long>(adapter.heard()));
  return 0;
}
