#include "isobus/transfer_core.hpp"

#include <algorithm>

namespace tramlog {
namespace {

constexpr SpanNs kClockStep = kSecond;  // frames of several buses may be this much out of order, no more

TransferLimits sane(TransferLimits limits) {
  limits.sessions = std::max<std::size_t>(limits.sessions, 1);
  return limits;
}

constexpr bool is_failure(TransferOutcome outcome) {
  return outcome == TransferOutcome::aborted || outcome == TransferOutcome::timed_out ||
         outcome == TransferOutcome::interrupted || outcome == TransferOutcome::out_of_order;
}

}  // namespace

TransferCore::TransferCore(TransferSink& sink, TransferLimits limits)
    : sink_(sink), table_(sane(limits)), loss_notice_delay_(limits.loss_notice_delay) {}

TransferSession& TransferCore::start(SessionKey key, TransferEnd facts, std::uint32_t packets,
                                     const Event& frame) {
  while (table_.full()) {
    ++stats.sessions_given_up;
    end(*table_.oldest(), TransferOutcome::unseen, frame.time);
  }
  facts.bus = frame.bus;
  facts.start = facts.end = frame.time;
  facts.first_frame = facts.last_frame = frame.number;
  TransferSession& session = table_.add(key, facts, packets);
  const auto loss = losses_.find(frame.bus);
  session.touched_loss =
      loss != losses_.end() && loss->second.from <= frame.time && frame.time <= loss->second.to;
  return session;
}

void TransferCore::touch(TransferSession& session, const Event& frame) {
  session.facts.end = frame.time;
  session.facts.last_frame = frame.number;
  table_.moved(session);
}

bool TransferCore::store(TransferSession& session, std::uint32_t number, std::size_t offset,
                         std::size_t capacity, Bytes bytes, const Event& frame) {
  const std::size_t used = std::min<std::size_t>(capacity, session.facts.bytes_expected - offset);
  if (bytes.size() < used) {
    ++stats.malformed;
    return false;
  }
  if (!session.heard.add(number)) {
    ++stats.repeated_packets;
    return true;
  }
  session.facts.bytes_received += used;
  session.last_data = frame.time;
  session.last_data_frame = frame.number;
  if (session.keeps_payload)
    std::copy_n(bytes.begin(), used, session.payload.begin() + static_cast<long>(offset));
  return true;
}

void TransferCore::deliver(TransferSession& session) {
  session.delivered = true;
  if (!session.keeps_payload) {
    ++stats.messages_not_kept;
    return;
  }
  const TransferEnd& facts = session.facts;
  Message message;
  message.bus = facts.bus;
  message.pgn = facts.pgn;
  message.source = facts.source;
  message.destination = facts.destination;
  message.carrier = facts.protocol;
  message.start = facts.start;
  message.end = session.last_data;
  message.first_frame = facts.first_frame;
  message.last_frame = session.last_data_frame;
  message.data = session.payload;
  sink_.on_message(message);
}

void TransferCore::end(TransferSession& session, TransferOutcome outcome, TimeNs decided) {
  TransferEnd facts = session.facts;
  facts.outcome = outcome;
  if (session.touched_loss && outcome != TransferOutcome::complete) facts.outcome = TransferOutcome::unseen;
  const SessionKey key = session.key;
  table_.remove(session);
  if (!is_failure(facts.outcome) || loss_notice_delay_ <= 0) {
    sink_.on_transfer_end(facts);
    return;
  }
  if (held_.size() >= kMaxHeld) {
    sink_.on_transfer_end(held_.front().end);
    held_.pop_front();
  }
  held_.push_back({key, decided, facts});
}

bool TransferCore::abort_late(SessionKey key, Pgn pgn, std::uint8_t reason, const Event& frame) {
  const auto late = std::find_if(held_.rbegin(), held_.rend(), [=](const Held& held) {
    return held.key == key && held.end.pgn == pgn && held.end.outcome == TransferOutcome::timed_out;
  });
  if (late == held_.rend()) return false;
  late->end.outcome = TransferOutcome::aborted;
  late->end.abort_reason = reason;
  late->end.aborted_by = source_of(frame.id);
  late->end.end = frame.time;
  late->end.last_frame = frame.number;
  return true;
}

void TransferCore::advance(TimeNs now) {
  if (now < newest_ && span_between(now, newest_) > kClockStep) {
    // The clock was set back: no silence can be measured across that.
    while (!table_.empty()) end(*table_.oldest(), TransferOutcome::unseen, now);
    tell_all_held();
    newest_ = now;
    return;
  }
  newest_ = std::max(newest_, now);
  while (TransferSession* due = table_.next_due()) {
    if (span_between(due->facts.end, now) <= due->timeout()) break;
    end(*due, due->lost_packets() ? TransferOutcome::out_of_order : TransferOutcome::timed_out,
        due->deadline());
  }
  tell_held(now);
}

void TransferCore::note_loss(BusIndex bus, TimeNs from, TimeNs to) {
  losses_[bus] = {from, to};
  table_.for_each([=](TransferSession& session) {
    if (session.facts.bus == bus && session.facts.start <= to) session.touched_loss = true;
  });
  for (Held& held : held_) {
    if (held.end.bus == bus && held.end.start <= to && from <= held.decided)
      held.end.outcome = TransferOutcome::unseen;
  }
}

void TransferCore::finish(TimeNs end_time) {
  advance(end_time);
  tell_all_held();
  while (!table_.empty()) end(*table_.oldest(), TransferOutcome::unfinished, end_time);
}

void TransferCore::tell_held(TimeNs now) {
  while (!held_.empty() && span_between(held_.front().decided, now) > loss_notice_delay_) {
    const TransferEnd end = held_.front().end;
    held_.pop_front();
    sink_.on_transfer_end(end);
  }
}

void TransferCore::tell_all_held() {
  while (!held_.empty()) {
    const TransferEnd end = held_.front().end;
    held_.pop_front();
    sink_.on_transfer_end(end);
  }
}

}  // namespace tramlog
