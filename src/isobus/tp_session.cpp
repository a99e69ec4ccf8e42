#include "isobus/tp_session.hpp"

#include "isobus/pgn_field.hpp"
#include "isobus/transfer_abort.hpp"

namespace tramlog {
namespace {

// B1 of a control message.
constexpr std::uint8_t kRequestToSend = 16;
constexpr std::uint8_t kClearToSend = 17;
constexpr std::uint8_t kEndOfMessage = 19;
constexpr std::uint8_t kBroadcast = 32;
constexpr std::uint8_t kAbort = 255;

constexpr std::size_t kControlBytes = 8;
constexpr std::uint32_t kMaxMessage = 1785;
constexpr std::uint32_t kPacketBytes = 7;

}  // namespace

void TpSessions::take_control(const Event& frame) {
  const std::optional<Pgn> pgn =
      frame.len >= kControlBytes ? load_pgn_field(frame.data + 5) : std::optional<Pgn>{};
  if (!pgn) {
    ++core_.stats.malformed;
    return;
  }
  switch (frame.data[0]) {
    case kRequestToSend:
      return begin(Carrier::rts_cts, *pgn, frame);
    case kBroadcast:
      return begin(Carrier::bam, *pgn, frame);
    case kClearToSend:
      return clear_to_send(*pgn, frame);
    case kEndOfMessage:
      return end_of_message(*pgn, frame);
    case kAbort:
      return take_abort(core_, Carrier::rts_cts, *pgn, frame);
    default:
      ++core_.stats.malformed;
  }
}

void TpSessions::begin(Carrier protocol, Pgn pgn, const Event& frame) {
  const Address source = source_of(frame.id);
  const Address destination = destination_of(frame.id);
  const std::uint32_t bytes = load_le16(frame.data + 1);
  const std::uint32_t packets = frame.data[3];
  const bool to_all = destination == kGlobalAddress;
  if (to_all != (protocol == Carrier::bam) || bytes == 0 || bytes > kMaxMessage ||
      packets != (bytes + kPacketBytes - 1) / kPacketBytes) {
    ++core_.stats.malformed;
    return;
  }
  const SessionKey key = session_key(protocol, frame.bus, source, destination);
  if (TransferSession* running = core_.find(key)) {
    const TransferEnd& facts = running->facts;
    // A sender that got no clear-to-send asks again: still the same transfer, as long as no data has flowed.
    if (protocol == Carrier::rts_cts && facts.pgn == pgn && facts.bytes_expected == bytes &&
        facts.bytes_received == 0) {
      core_.touch(*running, frame);
      return;
    }
    core_.interrupt(*running, frame.time);
  }
  TransferEnd facts;
  facts.protocol = protocol;
  facts.source = source;
  facts.destination = destination;
  facts.pgn = pgn;
  facts.bytes_expected = bytes;
  core_.start(key, facts, packets, frame);
}

/// The session whose data go to the sender of this control message.
TransferSession* TpSessions::session_of_receiver(Pgn pgn, const Event& frame) {
  TransferSession* session =
      core_.find(session_key(Carrier::rts_cts, frame.bus, destination_of(frame.id), source_of(frame.id)));
  if (!session) return nullptr;
  if (session->facts.pgn != pgn) {
    ++core_.stats.malformed;
    return nullptr;
  }
  core_.touch(*session, frame);
  return session;
}

void TpSessions::clear_to_send(Pgn pgn, const Event& frame) {
  const TransferSession* session = session_of_receiver(pgn, frame);
  if (!session) return;
  // Which packets are cleared does not matter to a listener: each packet says itself which one it is, and one
  // that is asked for again is taken when it comes again.
  const std::uint32_t count = frame.data[1];  // 0 = hold the connection
  const std::uint32_t next = frame.data[2];
  if (count > 0 && (next == 0 || next + count - 1 > session->packets)) ++core_.stats.malformed;
}

void TpSessions::end_of_message(Pgn pgn, const Event& frame) {
  TransferSession* session = session_of_receiver(pgn, frame);
  if (!session) return;
  if (load_le16(frame.data + 1) != session->facts.bytes_expected) ++core_.stats.malformed;
  core_.end(*session, session->heard.all() ? TransferOutcome::complete : TransferOutcome::out_of_order,
            frame.time);
}

void TpSessions::take_data(const Event& frame) {
  if (frame.len == 0) {
    ++core_.stats.malformed;
    return;
  }
  const Address destination = destination_of(frame.id);
  const Carrier protocol = destination == kGlobalAddress ? Carrier::bam : Carrier::rts_cts;
  TransferSession* session = core_.find(session_key(protocol, frame.bus, source_of(frame.id), destination));
  if (!session) {
    ++core_.stats.orphan_packets;
    return;
  }
  const std::uint32_t number = frame.data[0];
  if (number == 0 || number > session->packets) {
    ++core_.stats.malformed;
    return;
  }
  core_.touch(*session, frame);
  const Bytes bytes(frame.data + 1, frame.len - std::size_t{1});
  if (!core_.store(*session, number, (number - 1) * kPacketBytes, kPacketBytes, bytes, frame)) return;
  const bool all = session->heard.all();
  if (all && !session->delivered) core_.deliver(*session);
  if (protocol == Carrier::bam && (all || number == session->packets))
    core_.end(*session, all ? TransferOutcome::complete : TransferOutcome::out_of_order, frame.time);
}

}  // namespace tramlog
