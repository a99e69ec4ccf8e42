#include "io/unfinished.hpp"

#include <unistd.h>

#include <array>
#include <atomic>
#include <csignal>
#include <cstring>

namespace tramlog {
namespace {

constexpr int kEnding[] = {SIGTERM, SIGINT, SIGHUP};

// A handler may neither allocate nor lock: names stand in places of their own.
struct Slot {
  enum State : int { free, taken, noted };
  std::atomic<int> state{free};
  std::array<char, 4096> path{};
};
static_assert(std::atomic<int>::is_always_lock_free);
constexpr std::size_t kSlots = 16;  // exports write one file a table
std::array<Slot, kSlots> slots;

extern "C" void remove_all_and_end(int signal) {
  for (Slot& slot : slots)
    if (slot.state.load(std::memory_order_acquire) == Slot::noted) ::unlink(slot.path.data());
  std::signal(signal, SIG_DFL);
  std::raise(signal);  // held back until the handler returns
}

}  // namespace

SignalsHeld::SignalsHeld() {
  sigset_t ending;
  sigemptyset(&ending);
  for (const int signal : kEnding) sigaddset(&ending, signal);
  ::pthread_sigmask(SIG_BLOCK, &ending, &before_);
}

SignalsHeld::~SignalsHeld() {
  ::pthread_sigmask(SIG_SETMASK, &before_, nullptr);
}

void remove_unfinished_at_signals() {
  for (const int signal : kEnding) {
    struct sigaction now {};
    if (::sigaction(signal, nullptr, &now) != 0 || now.sa_handler == SIG_IGN) continue;
    struct sigaction ours {};
    ours.sa_handler = remove_all_and_end;
    sigemptyset(&ours.sa_mask);
    for (const int other : kEnding) sigaddset(&ours.sa_mask, other);
    ::sigaction(signal, &ours, nullptr);
  }
}

void note_unfinished(const std::string& path) {
  for (Slot& slot : slots) {
    int expected = Slot::free;
    if (path.size() >= slot.path.size() || !slot.state.compare_exchange_strong(expected, Slot::taken))
      continue;
    std::memcpy(slot.path.data(), path.c_str(), path.size() + 1);
    slot.state.store(Slot::noted, std::memory_order_release);
    return;
  }
}

void forget_unfinished(const std::string& path) {
  for (Slot& slot : slots)
    if (slot.state.load(std::memory_order_acquire) == Slot::noted && path == slot.path.data())
      slot.state.store(Slot::free, std::memory_order_release);
}

void remove_unfinished(const std::string& path) {
  ::unlink(path.c_str());
  forget_unfinished(path);
}

}  // namespace tramlog
