#include "tool/decode_explain.hpp"

#include <algorithm>

namespace tramlog {
namespace {

constexpr std::size_t kRecent = 16;
constexpr SpanNs kLongestTransfer = 5 * kMinute;  // a message that is not complete by then never will be
constexpr SpanNs kAcknowledgedWithin = 3 * kSecond;

}  // namespace

FrameFinder::FrameFinder(const Schema& schema, std::uint64_t number, std::optional<Roster> roster)
    : number_(number) {
  DecodeFilter all;
  all.transport_frames = true;
  interpreter_ = std::move(Interpreter::make(schema, all, std::move(roster), *this).value());
}

void FrameFinder::take(std::span<const Event> events) {
  for (const Event& event : events) {
    if (done_) return;
    last_number_ = std::max(last_number_, event.number);
    const bool wanted = event.number == number_ && event.kind != EventKind::notice;
    if (wanted) keep(event);
    interpreter_->take({&event, 1});
    if (wanted && !piece_) done_ = true;
    if (found_ && (message_ || span_between(frame_.time, event.time) > kLongestTransfer)) done_ = true;
  }
}

void FrameFinder::keep(const Event& event) {
  found_ = true;
  payload_.assign(event.data, event.data + event.len);
  frame_ = event;
  frame_.data = payload_.data();
  if (event.bus < buses_.size()) bus_ = buses_[event.bus];
}

void FrameFinder::on_bus(const Event& announcement) {
  if (announcement.kind != EventKind::notice) return;
  if (buses_.size() <= announcement.bus) buses_.resize(std::size_t{announcement.bus} + 1);
  if (const auto* info = std::get_if<BusInfo>(announcement.notice)) buses_[announcement.bus] = info->name;
}

/// Whether the frame carries or controls this transfer.
bool FrameFinder::holds_frame(const Message& message) const {
  if (message.bus != frame_.bus) return false;
  const Address source = source_of(frame_.id), destination = destination_of(frame_.id);
  const Pgn pgn = pgn_of(frame_.id);
  const bool forth = message.source == source && message.destination == destination;
  const bool back = message.source == destination && message.destination == source;
  bool same_protocol = message.carrier == Carrier::fast_packet && pgn == message.pgn && forth;
  if (pgn == 0xEC00 || pgn == 0xEB00)
    same_protocol = message.carrier == Carrier::bam || message.carrier == Carrier::rts_cts;
  if (pgn == 0xC800 || pgn == 0xC700) same_protocol = message.carrier == Carrier::etp;
  if (!same_protocol || !(forth || back)) return false;
  if (message.first_frame <= number_ && number_ <= message.last_frame) return true;
  // The receiver's acknowledgement comes after the last data.
  const SpanNs later = span_between(message.end, frame_.time);
  return back && number_ > message.last_frame && later >= 0 && later <= kAcknowledgedWithin;
}

void FrameFinder::on_message(const DecodedMessage& told) {
  if (told.carrier == Carrier::single) {
    if (!found_ || told.last_frame != number_ || from_) return;
    const Talk& talk = *told.talk;
    if (!talk.extended) return;
    from_ = talk.from;
    to_ = talk.to;
    piece_ = talk.piece;
    if (!piece_) return;
    for (auto whole = recent_.rbegin(); whole != recent_.rend() && !message_; ++whole)
      if (holds_frame(whole->message)) message_ = *whole;
    if (message_) message_->message.data = message_->data;
    return;
  }
  Whole whole;
  whole.message.bus = told.talk->from.bus;
  whole.message.pgn = told.talk->pgn;
  whole.message.source = told.talk->from.address;
  whole.message.destination = told.talk->to.address;
  whole.message.carrier = told.carrier;
  whole.message.start = told.start;
  whole.message.end = told.time;
  whole.message.first_frame = told.first_frame;
  whole.message.last_frame = told.last_frame;
  whole.data.assign(told.data.begin(), told.data.end());
  if (found_ && piece_) {
    if (message_ || !holds_frame(whole.message)) return;
    message_ = std::move(whole);
    message_->message.data = message_->data;
    return;
  }
  recent_.push_back(std::move(whole));
  if (recent_.size() > kRecent) recent_.pop_front();
}

}  // namespace tramlog
