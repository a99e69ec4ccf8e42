#include "isobus/fast_packet.hpp"

namespace tramlog {
namespace {

constexpr std::uint32_t kFirstBytes = 6;  // data bytes of the first frame, behind counter and length
constexpr std::uint32_t kNextBytes = 7;
constexpr std::uint32_t kMinMessage = 9;  // what fits in one frame does not travel this way
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
  if (frame.len < 2 + kFirstBytes || frame.data[1] < kMinMessage || frame.data[1] > kMaxMessage) {
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
  const std::uint32_t packets = 1 + (bytes - kFirstBytes + kNextBytes - 1) / kNextBytes;
  TransferSession& session = core_.start(key, facts, packets, frame);
  core_.store(session, 1, 0, kFirstBytes, Bytes(frame.data + 2, kFirstBytes), frame);
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
