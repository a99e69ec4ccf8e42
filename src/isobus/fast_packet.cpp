#include "isobus/fast_packet.hpp"

#include <algorithm>

namespace tramlog {
namespace {

constexpr std::uint32_t kFirstBytes = 6;  // data bytes of the first frame, behind counter and length
constexpr std::uint32_t kNextBytes = 7;
// What fits in one frame should not travel this way (fact sheet 5.3), but lists without entries do:
// satellites in view, 3 + 12 n bytes.
constexpr std::uint32_t kMinMessage = 1;
constexpr std::uint32_t kMaxMessage = kFirstBytes + 31 * kNextBytes;

}  // namespace

void FastPacketSessions::take(const Event& frame) {
  if (frame.len == 0) {
    ++core_.stats.malformed;
    return;
  }
  const Pgn pgn = pgn_of(frame.id);
  const unsigned sequence = frame.data[0] >> 5;
  const SessionKey key = session_key(Carrier::fast_packet, frame.bus, source_of(frame.id),
                                     destination_of(frame.id), pgn, sequence);
  if ((frame.data[0] & 0x1F) == 0)
    begin(key, pgn, frame);
  else
    go_on(key, frame);
}

void FastPacketSessions::begin(SessionKey key, Pgn pgn, const Event& frame) {
  if (frame.len < 2 || frame.data[1] < kMinMessage || frame.data[1] > kMaxMessage ||
      frame.len < 2 + std::min<std::uint32_t>(frame.data[1], kFirstBytes)) {
    ++core_.stats.malformed;
    return;
  }
  if (TransferSession* running = core_.find(key)) core_.interrupt(*running, frame.time);
  const std::uint32_t bytes = frame.data[1];
  TransferEnd facts;
  facts.protocol = Carrier::fast_packet;
  facts.source = source_of(frame.id);
  facts.destination = destination_of(frame.id);
  facts.pgn = pgn;
  facts.bytes_expected = bytes;
  const std::uint32_t packets =
      bytes <= kFirstBytes ? 1 : 1 + (bytes - kFirstBytes + kNextBytes - 1) / kNextBytes;
  TransferSession& session = core_.start(key, facts, packets, frame);
  core_.store(session, 1, 0, kFirstBytes, Bytes(frame.data + 2, frame.len - std::size_t{2}), frame);
  if (packets > 1) return;
  core_.deliver(session);
  core_.end(session, TransferOutcome::complete, frame.time);
}

void FastPacketSessions::go_on(SessionKey key, const Event& frame) {
  TransferSession* session = core_.find(key);
  if (!session) {
    ++core_.stats.orphan_packets;
    return;
  }
  const std::uint32_t index = frame.data[0] & 0x1F;  // 1..31, the first frame being 0
  if (index >= session->packets) {
    ++core_.stats.malformed;
    return;
  }
  core_.touch(*session, frame);
  const std::size_t offset = kFirstBytes + (index - 1) * kNextBytes;
  const Bytes bytes(frame.data + 1, frame.len - std::size_t{1});
  if (!core_.store(*session, index + 1, offset, kNextBytes, bytes, frame)) return;
  const bool all = session->heard.all();
  if (all) core_.deliver(*session);
  if (all || index + 1 == session->packets)
    core_.end(*session, all ? TransferOutcome::complete : TransferOutcome::out_of_order, frame.time);
}

}  // namespace tramlog
