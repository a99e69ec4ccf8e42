#include "stage/transfer_desk.hpp"

#include <algorithm>

#include "stage/world.hpp"

namespace tramlog::stage {
namespace {

constexpr Pgn kTpControl = 0xEC00, kTpData = 0xEB00, kEtpControl = 0xC800, kEtpData = 0xC700;
constexpr std::uint8_t kRts = 16, kCts = 17, kEndAck = 19, kBam = 32, kEtpRts = 20, kEtpCts = 21, kDpo = 22,
                       kEtpEndAck = 23, kAbort = 255;
constexpr std::uint8_t kReasonTimeout = 3, kReasonBadSequence = 7;
constexpr unsigned kTransportPriority = 7, kFastPacketPriority = 6;
constexpr SpanNs kT1 = 750 * kMillisecond;   // broadcast and fast packet: the receiver gives up
constexpr SpanNs kT3 = 1250 * kMillisecond;  // RTS/CTS and ETP: either side gives up
constexpr SpanNs kHoldGap = 400 * kMillisecond;
constexpr SpanNs kBamGap = 60 * kMillisecond;
constexpr SpanNs kPacketGap = 300 * kMicrosecond;
constexpr SpanNs kRetry = 50 * kMillisecond;
constexpr unsigned kMaxTries = 400;

std::uint8_t low_byte(std::size_t value, unsigned byte = 0) {
  return static_cast<std::uint8_t>(value >> (8 * byte));
}

}  // namespace

struct TransferDesk::Session {
  std::uint64_t serial = 0;
  std::uint32_t sender = kNobody, receiver = kNobody;
  TransferSpec spec;
  std::vector<std::uint8_t> payload;
  Ended ended;
  TransferTruth truth;
  std::size_t bus = 0;
  std::uint32_t total = 0;       // packets
  std::uint32_t next = 1;        // packet
  std::uint32_t window_end = 0;  // last packet of this CTS
  std::uint32_t resume = 0;      // after a repeated packet
  std::uint32_t offset = 0;      // ETP
  unsigned holds_left = 0;
  std::uint8_t sequence = 0;
  bool failed = false, gap = false, repair = false, last_by_sender = true;
  TimeNs last_stamp = 0;

  bool etp() const { return spec.carrier == Carrier::etp; }
  bool broadcast() const { return spec.carrier == Carrier::bam || spec.carrier == Carrier::fast_packet; }
};

TransferDesk::TransferDesk(World& world) : world_(world) {}
TransferDesk::~TransferDesk() = default;

TransferDesk::Session* TransferDesk::find(std::uint64_t serial) {
  for (const auto& session : sessions_) {
    if (session->serial == serial) return session.get();
  }
  return nullptr;
}

void TransferDesk::start(std::uint32_t sender, std::uint32_t receiver, const TransferSpec& spec,
                         std::vector<std::uint8_t> payload, Ended ended) {
  auto session = std::make_unique<Session>();
  session->sender = sender;
  session->receiver = receiver;
  session->spec = spec;
  session->payload = std::move(payload);
  session->ended = std::move(ended);
  session->holds_left = spec.holds;
  session->bus = world_.controllers[sender]->spec().bus;
  begin(std::move(session), 0);
}

bool TransferDesk::occupied(const Session& wanted) const {
  return std::any_of(sessions_.begin(), sessions_.end(), [&](const auto& session) {
    return session->sender == wanted.sender && session->receiver == wanted.receiver &&
           (session->spec.carrier == Carrier::fast_packet) == (wanted.spec.carrier == Carrier::fast_packet);
  });
}

void TransferDesk::begin(std::unique_ptr<Session> session, unsigned tries) {
  const Controller& sender = *world_.controllers[session->sender];
  if (!sender.operational() || tries > kMaxTries) return;
  if (occupied(*session)) {
    auto waiting = std::make_shared<std::unique_ptr<Session>>(std::move(session));
    world_.agenda.call_at(world_.now() + kRetry,
                          [this, waiting, tries] { begin(std::move(*waiting), tries + 1); });
    return;
  }
  Session& s = *session;
  s.serial = ++last_serial_;
  const std::size_t size = s.payload.size();
  const bool fast = s.spec.carrier == Carrier::fast_packet;
  s.total = static_cast<std::uint32_t>(fast ? 1 + (size - 6 + 6) / 7 : (size + 6) / 7);
  s.truth.carrier = s.spec.carrier;
  s.truth.sender = s.sender;
  s.truth.bus = s.bus;
  s.truth.source = sender.address();
  s.truth.destination = s.receiver == kNobody ? kGlobalAddress : world_.controllers[s.receiver]->address();
  s.truth.pgn = s.spec.pgn;
  s.truth.bytes = size;
  if (fast) s.sequence = sequences_[{s.sender, s.spec.pgn}]++ & 7;
  sessions_.push_back(std::move(session));
  send_opening(s);
}

void TransferDesk::send_opening(Session& s) {
  const std::size_t size = s.payload.size();
  const Pgn pgn = s.spec.pgn;
  const auto p0 = low_byte(pgn), p1 = low_byte(pgn, 1), p2 = low_byte(pgn, 2);
  switch (s.spec.carrier) {
    case Carrier::fast_packet:
      return fast_packet_turn(s);
    case Carrier::bam:
      return send(s, true, kTransportPriority, kTpControl,
                  {kBam, low_byte(size), low_byte(size, 1), low_byte(s.total), 0xFF, p0, p1, p2},
                  &TransferDesk::broadcast_turn, s.spec.packet_gap ? s.spec.packet_gap : kBamGap);
    case Carrier::etp:
      return send(
          s, true, kTransportPriority, kEtpControl,
          {kEtpRts, low_byte(size), low_byte(size, 1), low_byte(size, 2), low_byte(size, 3), p0, p1, p2},
          &TransferDesk::receiver_turn, s.spec.response);
    default:
      return send(s, true, kTransportPriority, kTpControl,
                  {kRts, low_byte(size), low_byte(size, 1), low_byte(s.total), 0xFF, p0, p1, p2},
                  &TransferDesk::receiver_turn, s.spec.response);
  }
}

void TransferDesk::send(Session& s, bool from_sender, unsigned priority, Pgn pgn, const Eight& data,
                        Turn then, SpanNs delay) {
  WireFrame frame;
  const Address source = from_sender ? s.truth.source : s.truth.destination;
  const Address destination = from_sender ? s.truth.destination : s.truth.source;
  frame.id = identifier(priority, pgn, source, destination);
  frame.len = 8;
  std::copy(data.begin(), data.end(), frame.data);
  s.last_by_sender = from_sender;
  world_.send(from_sender ? s.sender : s.receiver, s.bus, frame,
              [this, serial = s.serial, then, delay](const Sent& sent) { went(serial, sent, then, delay); });
}

void TransferDesk::went(std::uint64_t serial, const Sent& sent, Turn then, SpanNs delay) {
  Session* s = find(serial);
  if (s == nullptr) return;
  if (!sent.sent) return stall(*s, !s->last_by_sender);
  ++s->truth.frames;
  s->last_stamp = sent.stamp;
  if (sent.recorded) {
    if (!s->truth.start) s->truth.start = sent.stamp;
    s->truth.end = sent.stamp;
  } else {
    ++s->truth.frames_unheard;
  }
  if (delay == 0) return (this->*then)(*s);
  after(*s, delay, then);
}

void TransferDesk::after(const Session& s, SpanNs delay, Turn then) {
  world_.agenda.call_at(world_.now() + delay, [this, serial = s.serial, then] {
    if (Session* session = find(serial)) (this->*then)(*session);
  });
}

void TransferDesk::clear_to_send(Session& s, std::uint32_t count, Turn then, SpanNs delay) {
  const Pgn pgn = s.spec.pgn;
  Eight data = {kCts, low_byte(count), low_byte(s.next), 0xFF,
                0xFF, low_byte(pgn),   low_byte(pgn, 1), low_byte(pgn, 2)};
  if (s.etp()) {
    data[0] = kEtpCts;
    data[3] = low_byte(s.next, 1);
    data[4] = low_byte(s.next, 2);
  }
  send(s, false, kTransportPriority, s.etp() ? kEtpControl : kTpControl, data, then, delay);
}

void TransferDesk::acknowledge_end(Session& s) {
  const std::size_t size = s.payload.size();
  const Pgn pgn = s.spec.pgn;
  Eight data = {kEndAck, low_byte(size), low_byte(size, 1), low_byte(s.total),
                0xFF,    low_byte(pgn),  low_byte(pgn, 1),  low_byte(pgn, 2)};
  if (s.etp()) {
    data[0] = kEtpEndAck;
    data[3] = low_byte(size, 2);
    data[4] = low_byte(size, 3);
  }
  send(s, false, kTransportPriority, s.etp() ? kEtpControl : kTpControl, data, &TransferDesk::finish_complete,
       0);
}

void TransferDesk::receiver_turn(Session& s) {
  const Controller& receiver = *world_.controllers[s.receiver];
  if (s.spec.failure == Failure::receiver_silent || !receiver.operational() || !receiver.hears()) {
    return stall(s, true);
  }
  if (s.spec.failure == Failure::abort_by_receiver && s.spec.after == 0) {
    return abort(s, false, s.spec.abort_reason);
  }
  if (s.gap) return abort(s, false, kReasonBadSequence);
  if (s.repair) {  // the packet that did not arrive once more, then on from where we were
    s.repair = false;
    s.resume = s.next;
    s.next = s.window_end = s.spec.after;
    return clear_to_send(s, 1, &TransferDesk::sender_turn, s.spec.response);
  }
  if (s.next > s.total) return acknowledge_end(s);
  if (s.holds_left > 0) {
    --s.holds_left;
    return clear_to_send(s, 0, &TransferDesk::receiver_turn, kHoldGap);
  }
  const std::uint32_t count = std::min(s.spec.window, s.total - s.next + 1);
  s.window_end = s.next + count - 1;
  clear_to_send(s, count, &TransferDesk::sender_turn, s.spec.response);
}

void TransferDesk::sender_turn(Session& s) {
  if (!s.etp()) return packet_turn(s);
  if (fails_here(s)) return;
  s.offset = s.next - 1;
  const Pgn pgn = s.spec.pgn;
  send(s, true, kTransportPriority, kEtpControl,
       {kDpo, low_byte(s.window_end - s.offset), low_byte(s.offset), low_byte(s.offset, 1),
        low_byte(s.offset, 2), low_byte(pgn), low_byte(pgn, 1), low_byte(pgn, 2)},
       &TransferDesk::packet_turn, kPacketGap);
}

void TransferDesk::packet_turn(Session& s) {
  if (s.resume != 0 && s.next > s.window_end) {
    s.next = s.resume;
    s.resume = 0;
    s.window_end = s.next - 1;
  }
  if (s.next <= s.window_end) {
    if (fails_here(s)) return;
    if (skips_here(s) && s.next > s.window_end)
      return after(s, s.spec.response, &TransferDesk::receiver_turn);
    return send_packet(s, &TransferDesk::packet_turn, s.spec.packet_gap ? s.spec.packet_gap : kPacketGap);
  }
  after(s, s.spec.response, &TransferDesk::receiver_turn);
}

void TransferDesk::broadcast_turn(Session& s) {
  if (s.next <= s.total) {
    if (fails_here(s)) return;
    if (skips_here(s) && s.next > s.total) return stall(s, false);
    const bool last = s.next == s.total;
    const SpanNs gap = s.spec.packet_gap ? s.spec.packet_gap : kBamGap;
    const Turn last_turn = s.gap ? &TransferDesk::finish_out_of_order : &TransferDesk::finish_complete;
    return send_packet(s, last ? last_turn : &TransferDesk::broadcast_turn, last ? 0 : gap);
  }
}

void TransferDesk::send_packet(Session& s, Turn then, SpanNs delay) {
  Eight data;
  data.fill(0xFF);
  data[0] = low_byte(s.etp() ? s.next - s.offset : s.next);
  const std::size_t from = std::size_t{s.next - 1} * 7;
  for (std::size_t i = 0; i < 7 && from + i < s.payload.size(); ++i) data[1 + i] = s.payload[from + i];
  ++s.next;
  send(s, true, kTransportPriority, s.etp() ? kEtpData : kTpData, data, then, delay);
}

void TransferDesk::fast_packet_turn(Session& s) {
  if (fails_here(s)) return;
  if (skips_here(s) && s.next > s.total) return stall(s, false);
  Eight data;
  data.fill(0xFF);
  data[0] = static_cast<std::uint8_t>(s.sequence << 5 | (s.next - 1));
  std::size_t room = 1;
  std::size_t from = 0;
  if (s.next == 1) {
    data[1] = low_byte(s.payload.size());
    room = 2;
  } else {
    from = 6 + std::size_t{s.next - 2} * 7;
  }
  for (std::size_t i = 0; room + i < 8 && from + i < s.payload.size(); ++i)
    data[room + i] = s.payload[from + i];
  const bool last = s.next++ == s.total;
  const Turn last_turn = s.gap ? &TransferDesk::finish_out_of_order : &TransferDesk::finish_complete;
  send(s, true, kFastPacketPriority, s.spec.pgn, data, last ? last_turn : &TransferDesk::fast_packet_turn,
       s.spec.packet_gap);
}

bool TransferDesk::fails_here(Session& s) {
  if (s.failed || s.next != s.spec.after + 1) return false;
  switch (s.spec.failure) {
    case Failure::abort_by_sender:
    case Failure::abort_by_receiver:
      s.failed = true;
      abort(s, s.spec.failure == Failure::abort_by_sender, s.spec.abort_reason);
      return true;
    case Failure::sender_stops:
      s.failed = true;
      stall(s, false);
      return true;
    case Failure::interrupted: {
      TransferSpec again = s.spec;
      again.failure = Failure::none;
      const std::uint32_t sender = s.sender, receiver = s.receiver;
      std::vector<std::uint8_t> payload = s.payload;
      Ended ended = std::move(s.ended);
      s.ended = nullptr;
      finish(s, Outcome::interrupted);
      start(sender, receiver, again, std::move(payload), std::move(ended));
      return true;
    }
    default:
      return false;
  }
}

bool TransferDesk::skips_here(Session& s) {
  if (s.failed || s.next != s.spec.after) return false;
  if (s.spec.failure == Failure::missing_packet) {
    s.gap = true;
  } else if (s.spec.failure == Failure::repaired_packet) {
    s.repair = true;
  } else {
    return false;
  }
  s.failed = true;
  ++s.next;
  return true;
}

void TransferDesk::abort(Session& s, bool by_sender, std::uint8_t reason) {
  s.truth.abort_reason = reason;
  const Pgn pgn = s.spec.pgn;
  send(s, by_sender, kTransportPriority, s.etp() ? kEtpControl : kTpControl,
       {kAbort, reason, 0xFF, 0xFF, 0xFF, low_byte(pgn), low_byte(pgn, 1), low_byte(pgn, 2)},
       &TransferDesk::finish_aborted, 0);
}

void TransferDesk::stall(Session& s, bool sender_waits) {
  if (s.truth.abort_reason) {  // even the abort did not get out
    s.truth.abort_reason.reset();
    return finish(s, Outcome::timed_out);
  }
  world_.agenda.call_at(world_.now() + (s.broadcast() ? kT1 : kT3), [this, serial = s.serial, sender_waits] {
    Session* session = find(serial);
    if (session == nullptr) return;
    if (session->spec.abort_on_timeout && !session->broadcast()) {
      return abort(*session, sender_waits, kReasonTimeout);
    }
    finish(*session, Outcome::timed_out);
  });
}

void TransferDesk::finish_complete(Session& s) {
  finish(s, Outcome::complete);
}
void TransferDesk::finish_aborted(Session& s) {
  finish(s, Outcome::aborted);
}
void TransferDesk::finish_out_of_order(Session& s) {
  finish(s, Outcome::out_of_order);
}

void TransferDesk::finish(Session& s, Outcome outcome) {
  if (s.truth.frames_unheard > 0) outcome = Outcome::unseen;
  s.truth.outcome = outcome;
  if (s.truth.frames > 0) world_.truth.transfer(s.truth);
  const Ended ended = std::move(s.ended);
  const TimeNs stamp = s.last_stamp;
  std::erase_if(sessions_, [serial = s.serial](const auto& session) { return session->serial == serial; });
  if (ended) ended(outcome, stamp);
}

void TransferDesk::end() {
  for (const auto& session : sessions_) {
    session->truth.outcome = session->truth.frames_unheard > 0 ? Outcome::unseen : Outcome::unfinished;
    if (session->truth.frames > 0) world_.truth.transfer(session->truth);
  }
  sessions_.clear();
}

}  // namespace tramlog::stage
