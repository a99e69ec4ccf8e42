// One bus as a medium: frames that wait contend by identifier, one lies on the wire at a time, frames leave
// back to back with three bits between them.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <queue>
#include <vector>

#include "stage/agenda.hpp"
#include "stage/wire.hpp"

namespace tramlog::stage {

inline constexpr std::uint32_t kNobody = 0xFFFFFFFF;

/// How it went with a frame.
struct Sent {
  bool sent = false;      // it was on the wire
  bool recorded = false;  // and the logger heard it
  TimeNs stamp = 0;       // as the logger stamps the end of the frame
};
using Hook = std::function<void(const Sent&)>;

struct Passenger {
  WireFrame frame;
  std::uint32_t sender = kNobody;  // index of a controller
  std::uint32_t epoch = 0;         // of the sender when it handed the frame over
  TimeNs begin = 0;                // start of frame on the wire
  Hook hook;
};

class Bus {
 public:
  /// `valid` tells whether the sender of a waiting frame still can send it; `done` gets every frame at its
  /// end.
  struct Callbacks {
    std::function<bool(const Passenger&)> valid;
    std::function<void(Passenger&)> done;
    /// Which bit of a frame of so many bits an error will hit; none: it goes well. Empty: they all do.
    std::function<std::optional<unsigned>(const Passenger&, unsigned bits)> hit;
    /// The error frame is over; true: the frame will be tried again.
    std::function<bool(const Passenger&, unsigned bit)> spoiled;
  };
  Bus(Agenda& agenda, std::uint32_t index, std::uint32_t bitrate, Callbacks callbacks);

  /// Hands a frame over for sending. On a dead bus it is lost at once.
  void send(Passenger passenger);
  /// The agenda's entry for this bus came up: a frame ends or one begins.
  void step();
  /// A dead bus carries nothing; what waits is lost.
  void set_dead(bool dead);
  bool dead() const { return dead_; }

 private:
  struct Waiting {
    std::uint32_t key;
    std::uint64_t order;
    std::uint32_t place;
    bool operator>(const Waiting& other) const {
      return key != other.key ? key > other.key : order > other.order;
    }
  };
  void start_next();
  void drop(Passenger passenger);
  void end_spoiled();

  Agenda& agenda_;
  Callbacks callbacks_;
  std::priority_queue<Waiting, std::vector<Waiting>, std::greater<>> waiting_;
  std::vector<Passenger> places_;
  std::vector<std::uint32_t> free_;
  std::uint64_t order_ = 0;
  TimeNs free_at_ = 0;
  SpanNs bit_ns_;
  std::uint32_t index_;
  std::uint32_t on_wire_ = kNobody;  // place
  std::optional<unsigned> hit_bit_;  // of the frame on the wire
  bool scheduled_ = false;
  bool dead_ = false;
};

}  // namespace tramlog::stage
