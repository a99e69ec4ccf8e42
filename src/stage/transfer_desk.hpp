// Plays multi-frame transfers with both of their sides, and the ways in which they fail (fact sheet, network
// and diagnostics, 5.1 to 5.3).
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <utility>
#include <vector>

#include "stage/bus.hpp"
#include "stage/truth.hpp"

namespace tramlog::stage {

class World;

class TransferDesk {
 public:
  /// How a transfer ended; `stamp` is the time of its last frame.
  using Ended = std::function<void(Outcome outcome, TimeNs stamp)>;

  explicit TransferDesk(World& world);
  ~TransferDesk();

  /// Starts a transfer from `sender`. `receiver` is kNobody for a broadcast. Waits while the same pair (or,
  /// for a BAM, the same sender) still has one under way.
  void start(std::uint32_t sender, std::uint32_t receiver, const TransferSpec& spec,
             std::vector<std::uint8_t> payload, Ended ended = {});
  /// The capture ends: what is still under way has no outcome.
  void end();

 private:
  struct Session;
  using Turn = void (TransferDesk::*)(Session&);
  using Eight = std::array<std::uint8_t, 8>;

  void begin(std::unique_ptr<Session> session, unsigned tries);
  bool occupied(const Session& session) const;
  Session* find(std::uint64_t serial);
  void send(Session& s, bool from_sender, unsigned priority, Pgn pgn, const Eight& data, Turn then,
            SpanNs delay);
  void went(std::uint64_t serial, const Sent& sent, Turn then, SpanNs delay);
  void after(const Session& s, SpanNs delay, Turn then);
  void send_opening(Session& s);
  void receiver_turn(Session& s);
  void sender_turn(Session& s);
  void packet_turn(Session& s);
  void broadcast_turn(Session& s);
  void fast_packet_turn(Session& s);
  void clear_to_send(Session& s, std::uint32_t count, Turn then, SpanNs delay);
  void acknowledge_end(Session& s);
  void send_packet(Session& s, Turn then, SpanNs delay);
  bool fails_here(Session& s);
  bool skips_here(Session& s);
  void abort(Session& s, bool by_sender, std::uint8_t reason);
  void stall(Session& s, bool sender_waits);
  void finish_complete(Session& s);
  void finish_aborted(Session& s);
  void finish_out_of_order(Session& s);
  void finish(Session& s, Outcome outcome);

  World& world_;
  std::vector<std::unique_ptr<Session>> sessions_;
  std::map<std::pair<std::uint32_t, Pgn>, std::uint8_t> sequences_;  // of fast packets
  std::uint64_t last_serial_ = 0;
};

}  // namespace tramlog::stage
