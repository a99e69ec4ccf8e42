// One transfer in progress, and the table of all of them. Internal to the transfers.
#pragma once

#include <cstdint>
#include <memory>
#include <unordered_map>
#include <vector>

#include "isobus/packet_set.hpp"
#include "isobus/transfers.hpp"

namespace tramlog {

/// Longest silence inside a session (fact sheet 5.1, 5.4).
inline constexpr SpanNs kBroadcastTimeout = 750 * kMillisecond;    // BAM, fast packet
inline constexpr SpanNs kConnectionTimeout = 1250 * kMillisecond;  // RTS/CTS, ETP: T3

/// Everything that tells sessions apart, packed: protocol, bus, sender, receiver, and for a fast packet PGN
/// and sequence.
using SessionKey = std::uint64_t;
constexpr SessionKey session_key(Carrier protocol, BusIndex bus, Address source, Address destination,
                                 Pgn pgn = 0, unsigned sequence = 0) {
  return SessionKey{static_cast<std::uint8_t>(protocol)} << 53 | SessionKey{bus} << 37 |
         SessionKey{source} << 29 | SessionKey{destination} << 21 | SessionKey{pgn} << 3 | sequence;
}

struct TransferSession {
  SessionKey key = 0;
  TransferEnd facts;          // protocol to last_frame are kept up to date while it runs
  std::uint32_t packets = 0;  // data packets of the whole message
  PacketSet heard;
  std::vector<std::uint8_t> payload;  // bytes_expected long if `keeps_payload`, else unused
  bool keeps_payload = false;
  bool delivered = false;     // all packets in, message handed over; waits for its acknowledgement
  bool touched_loss = false;  // the logger lost frames inside it
  TimeNs last_data = 0;       // latest data packet
  std::uint64_t last_data_frame = 0;

  // ETP only: the data packets that the latest DPO announced.
  std::uint32_t window_offset = 0;
  std::uint32_t window_packets = 0;  // 0: none is open
  std::uint32_t window_latest = 0;   // sequence number of the latest packet in it

  // Neighbours in the order of the latest frame, among sessions of the same timeout.
  TransferSession* older = nullptr;
  TransferSession* newer = nullptr;

  bool acknowledged() const {
    return facts.protocol != Carrier::bam && facts.protocol != Carrier::fast_packet;
  }
  SpanNs timeout() const { return acknowledged() ? kConnectionTimeout : kBroadcastTimeout; }
  /// Without acknowledgement nobody can ask for a missing packet: the message was lost at the gap, whatever
  /// follows.
  bool lost_packets() const { return !acknowledged() && heard.has_gap(); }
  TimeNs deadline() const { return later_by(facts.end, timeout()); }
};

/// Owns sessions, finds them by key and keeps them in the order in which they will time out. Memory: at most
/// `limits.sessions` slots, at most `limits.total_bytes` of payload in use, and a small buffer kept by each
/// free slot.
class SessionTable {
 public:
  explicit SessionTable(const TransferLimits& limits) : limits_(limits) {}

  TransferSession* find(SessionKey key);
  bool full() const { return by_key_.size() >= limits_.sessions; }
  bool empty() const { return by_key_.empty(); }

  /// A session for a key that is free, in a table that is not full. Payload is kept if the caps allow it.
  TransferSession& add(SessionKey key, const TransferEnd& facts, std::uint32_t packets);
  void remove(TransferSession& session);
  /// The session was heard at facts.end: it becomes the latest of its timeout.
  void moved(TransferSession& session);

  /// The session whose timeout comes first; nullptr if there is none.
  TransferSession* next_due() const;
  /// The one that was silent for longest.
  TransferSession* oldest() const;

  template <class Use>
  void for_each(Use use) {
    for (const List& list : lists_)
      for (TransferSession* s = list.oldest; s; s = s->newer) use(*s);
  }

 private:
  struct List {
    TransferSession* oldest = nullptr;
    TransferSession* newest = nullptr;
  };
  List& list_of(const TransferSession& session) {
    return lists_[session.timeout() == kBroadcastTimeout ? 0 : 1];
  }
  void link(TransferSession& session);
  void unlink(TransferSession& session);

  TransferLimits limits_;
  std::size_t payload_bytes_ = 0;
  std::vector<std::unique_ptr<TransferSession>> slots_;
  std::vector<TransferSession*> free_;
  std::unordered_map<SessionKey, TransferSession*> by_key_;
  List lists_[2];
};

}  // namespace tramlog
