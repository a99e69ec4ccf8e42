// Threads take turns at a piece of work that is done once; a thread that comes too early sleeps.
#pragma once

#include <atomic>

namespace tramlog {

class Turns {
 public:
  /// Holds the turn as long as it lives.
  class Turn {
   public:
    explicit Turn(Turns& turns) : turns_(turns) {
      while (turns_.taken_.test_and_set(std::memory_order_acquire))
        turns_.taken_.wait(true, std::memory_order_relaxed);
    }
    ~Turn() {
      turns_.taken_.clear(std::memory_order_release);
      turns_.taken_.notify_one();
    }
    Turn(const Turn&) = delete;
    Turn& operator=(const Turn&) = delete;

   private:
    Turns& turns_;
  };

 private:
  std::atomic_flag taken_;
};

}  // namespace tramlog
