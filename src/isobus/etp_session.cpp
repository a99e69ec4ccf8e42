#include "isobus/etp_session.hpp"

#include "isobus/pgn_field.hpp"
#include "isobus/transfer_abort.hpp"

namespace tramlog {
namespace {

// B1 of a control message.
constexpr std::uint8_t kRequestToSend = 20;
constexpr std::uint8_t kClearToSend = 21;
constexpr std::uint8_t kDataPacketOffset = 22;
constexpr std::uint8_t kEndOfMessage = 23;
constexpr std::uint8_t kAbort = 255;

constexpr std::size_t kControlBytes = 8;
constexpr std::uint32_t kPacketBytes = 7;
constexpr std::uint32_t kMaxMessage = 0xFFFFFF * kPacketBytes;  // packet numbers have 24 bits

}  // namespace

void EtpSessions::take_control(const Event& frame) {
  const std::optional<Pgn> pgn =
      frame.len >= kControlBytes ? load_pgn_field(frame.data + 5) : std::optional<Pgn>{};
  if (!pgn || destination_of(frame.id) == kGlobalAddress) {
    ++core_.stats.malformed;
    return;
  }
  switch (frame.data[0]) {
    case kRequestToSend:
      return request_to_send(*pgn, frame);
    case kClearToSend:
      return clear_to_send(*pgn, frame);
    case kDataPacketOffset:
      return data_packet_offset(*pgn, frame);
    case kEndOfMessage:
      return end_of_message(*pgn, frame);
    case kAbort:
      return take_abort(core_, Carrier::etp, *pgn, frame);
    default:
      ++core_.stats.malformed;
  }
}

void EtpSessions::request_to_send(Pgn pgn, const Event& frame) {
  const std::uint32_t bytes = load_le32(frame.data + 1);
  if (bytes == 0 || bytes > kMaxMessage) {
    ++core_.stats.malformed;
    return;
  }
  const Address source = source_of(frame.id);
  const Address destination = destination_of(frame.id);
  const SessionKey key = session_key(Carrier::etp, frame.bus, source, destination);
  if (TransferSession* running = core_.find(key)) {
    // As in TP: asked again before any data has flowed, it is the same transfer.
    if (running->facts.pgn == pgn && running->facts.bytes_expected == bytes &&
        running->facts.bytes_received == 0) {
      running->window_packets = 0;
      core_.touch(*running, frame);
      return;
    }
    core_.interrupt(*running, frame.time);
  }
  TransferEnd facts;
  facts.protocol = Carrier::etp;
  facts.source = source;
  facts.destination = destination;
  facts.pgn = pgn;
  facts.bytes_expected = bytes;
  core_.start(key, facts, (bytes + kPacketBytes - 1) / kPacketBytes, frame);
}

TransferSession* EtpSessions::session_between(Address sender, Address receiver, Pgn pgn, const Event& frame) {
  TransferSession* session = core_.find(session_key(Carrier::etp, frame.bus, sender, receiver));
  if (!session) return nullptr;
  if (session->facts.pgn != pgn) {
    ++core_.stats.malformed;
    return nullptr;
  }
  core_.touch(*session, frame);
  return session;
}

void EtpSessions::clear_to_send(Pgn pgn, const Event& frame) {
  TransferSession* session = session_between(destination_of(frame.id), source_of(frame.id), pgn, frame);
  const std::uint32_t count = frame.data[1];  // 0 = hold the connection
  const std::uint32_t next = load_le24(frame.data + 2);
  if (!session || count == 0) return;
  if (next == 0 || next > session->packets || count - 1 > session->packets - next) ++core_.stats.malformed;
  // The next packets count from a new offset. If we miss its announcement they must not land in the old
  // window.
  session->window_packets = 0;
}

void EtpSessions::data_packet_offset(Pgn pgn, const Event& frame) {
  TransferSession* session = session_between(source_of(frame.id), destination_of(frame.id), pgn, frame);
  if (!session) return;
  const std::uint32_t count = frame.data[1];
  const std::uint32_t offset = load_le24(frame.data + 2);
  session->window_packets = 0;
  if (count == 0 || offset >= session->packets || count > session->packets - offset) {
    ++core_.stats.malformed;
    return;
  }
  session->window_offset = offset;
  session->window_packets = count;
  session->window_latest = 0;
}

void EtpSessions::end_of_message(Pgn pgn, const Event& frame) {
  TransferSession* session = session_between(destination_of(frame.id), source_of(frame.id), pgn, frame);
  if (!session) return;
  if (load_le32(frame.data + 1) != session->facts.bytes_expected) ++core_.stats.malformed;
  core_.end(*session, session->heard.all() ? TransferOutcome::complete : TransferOutcome::out_of_order,
            frame.time);
}

void EtpSessions::take_data(const Event& frame) {
  if (frame.len == 0) {
    ++core_.stats.malformed;
    return;
  }
  TransferSession* session =
      core_.find(session_key(Carrier::etp, frame.bus, source_of(frame.id), destination_of(frame.id)));
  if (!session) {
    ++core_.stats.orphan_packets;
    return;
  }
  core_.touch(*session, frame);
  const std::uint32_t sequence = frame.data[0];
  if (session->window_packets == 0) {
    ++core_.stats.orphan_packets;  // without its offset a packet has no place
    return;
  }
  if (sequence == 0 || sequence > session->window_packets) {
    ++core_.stats.malformed;
    return;
  }
  if (sequence <= session->window_latest) {
    // The same frame twice does no harm. A step back without a new offset means that we missed that offset.
    ++core_.stats.repeated_packets;
    if (sequence < session->window_latest) session->window_packets = 0;
    return;
  }
  session->window_latest = sequence;
  const std::uint32_t number = session->window_offset + sequence;
  const Bytes bytes(frame.data + 1, frame.len - std::size_t{1});
  if (!core_.store(*session, number, std::size_t{number - 1} * kPacketBytes, kPacketBytes, bytes, frame))
    return;
  if (session->heard.all() && !session->delivered) core_.deliver(*session);
}

}  // namespace tramlog
