// What the protocols share: starting, feeding and ending sessions, and telling the sink. Internal to the
// transfers.
#pragma once

#include <deque>
#include <unordered_map>

#include "isobus/transfer_session.hpp"

namespace tramlog {

class TransferCore {
 public:
  TransferCore(TransferSink& sink, TransferLimits limits);

  TransferStats stats;

  TransferSession* find(SessionKey key) { return table_.find(key); }

  /// Starts a session for a free key; if the table is full, the one that was silent for longest is given up.
  TransferSession& start(SessionKey key, TransferEnd facts, std::uint32_t packets, const Event& frame);

  /// Notes that `frame` belongs to the session.
  void touch(TransferSession& session, const Event& frame);

  /// Takes one data packet: `number` from 1, its payload at `offset` of the message. Of `bytes` only what the
  /// message still holds is used. Counts it as malformed and returns false if the frame is too short for
  /// that. `number` and `offset` lie inside the message.
  bool store(TransferSession& session, std::uint32_t number, std::size_t offset, std::size_t capacity,
             Bytes bytes, const Event& frame);

  /// Hands the message over; once for a session.
  void deliver(TransferSession& session);

  /// Ends the session, which is gone afterwards. `decided` is the time at which this could be known.
  void end(TransferSession& session, TransferOutcome outcome, TimeNs decided);

  /// Ends a session that a new one of the same key replaces.
  void interrupt(TransferSession& session, TimeNs now) {
    end(session, session.lost_packets() ? TransferOutcome::out_of_order : TransferOutcome::interrupted, now);
  }

  /// An abort that came when the session had timed out already: both sides use the same time limits as we do,
  /// so the abort for reason "timeout" follows on the heels. True if there was such a session.
  bool abort_late(SessionKey key, Pgn pgn, std::uint8_t reason, const Event& frame);

  void advance(TimeNs now);
  void note_loss(BusIndex bus, TimeNs from, TimeNs to);
  void finish(TimeNs end);

 private:
  struct Held {
    SessionKey key;
    TimeNs decided;
    TransferEnd end;
  };
  struct Loss {
    TimeNs from, to;
  };
  static constexpr std::size_t kMaxHeld = 1024;

  void tell_held(TimeNs now);
  void tell_all_held();

  TransferSink& sink_;
  SessionTable table_;
  SpanNs loss_notice_delay_;
  TimeNs newest_ = INT64_MIN;                  // latest time seen
  std::deque<Held> held_;                      // failures that are not told yet
  std::unordered_map<BusIndex, Loss> losses_;  // the latest of each bus
};

}  // namespace tramlog
