#include "wire/ask_plan.hpp"

#include <algorithm>
#include <utility>

#include "isobus/acknowledgement.hpp"
#include "isobus/network.hpp"

namespace tramlog {
namespace {

constexpr TimeNs kNever = INT64_MIN / 2;

TransferLimits limits() {
  TransferLimits limits;
  limits.message_bytes = AskPlan::kMaxAnswerBytes;
  limits.loss_notice_delay = 0;
  return limits;
}

bool is_final(AnswerState state) {
  return state == AnswerState::answered || state == AnswerState::not_supported ||
         state == AnswerState::access_denied;
}

}  // namespace

const char* answer_state_text(AnswerState state) {
  switch (state) {
    case AnswerState::not_asked:
      return "not asked";
    case AnswerState::answered:
      return "answered";
    case AnswerState::not_supported:
      return "not supported";
    case AnswerState::access_denied:
      return "access denied";
    case AnswerState::busy:
      return "busy";
    case AnswerState::broken_off:
      return "answer broken off";
    case AnswerState::no_answer:
      break;
  }
  return "no answer";
}

AskPlan::AskPlan(AskTimes times)
    : times_(std::move(times)),
      asked_(times_.pgns.size(), kNever),
      asked_all_(times_.pgns.size(), false),
      transfers_(*this, limits()) {}

AskPlan::~AskPlan() = default;

void AskPlan::set_own(Address address) {
  if (own_ == address) return;
  own_ = address;
  // What was asked from the old address is answered to the old address.
  if (!open_) return;
  if (open_->request.destination != kGlobalAddress)
    --controllers_[open_->controller].answers[open_->answer].tries;
  open_.reset();
}

AskedController* AskPlan::at(Address address) {
  const auto found = std::find_if(controllers_.begin(), controllers_.end(),
                                  [&](const AskedController& c) { return c.address == address; });
  return found == controllers_.end() ? nullptr : &*found;
}

void AskPlan::add(Address address, std::optional<Name> name) {
  if (address >= kNullAddress || address == own_) return;
  AskedController* here = at(address);
  if (name) {
    const auto known = std::find_if(controllers_.begin(), controllers_.end(),
                                    [&](const AskedController& c) { return c.name == name; });
    if (known != controllers_.end()) {
      if (here && here != &*known) here->address = kNullAddress;
      known->address = address;
      return;
    }
    if (here && !here->name) {
      here->name = name;
      return;
    }
    if (here) here->address = kNullAddress;
  } else if (here) {
    return;
  }
  if (controllers_.size() >= kMaxControllers) return;
  AskedController& controller = controllers_.emplace_back();
  controller.address = address;
  controller.name = name;
  for (const Pgn pgn : times_.pgns) controller.answers.emplace_back().pgn = pgn;
  not_before_.emplace_back(times_.pgns.size(), kNever);
}

void AskPlan::hear(const Event& frame) {
  if (!frame.is_iso11783()) return;
  running_.hear(frame);
  const Pgn pgn = pgn_of(frame.id);
  if (Transfers::is_transport(pgn)) return transfers_.take(frame);
  if (source_of(frame.id) == own_) return;
  if (pgn == kPgnAddressClaimed) return hear_claim(frame);
  if (pgn == kPgnAcknowledgement) return hear_acknowledgement(frame);
  take_answer(source_of(frame.id), pgn, Carrier::single, frame.time, {frame.data, frame.len});
}

void AskPlan::hear_claim(const Event& frame) {
  if (frame.len != 8) return;
  const Name name = Name::from_claim(frame.data);
  if (source_of(frame.id) < kNullAddress) return add(source_of(frame.id), name);
  for (AskedController& controller : controllers_)
    if (controller.name == name) controller.address = kNullAddress;
}

void AskPlan::hear_acknowledgement(const Event& frame) {
  const auto word = parse_acknowledgement({frame.data, frame.len});
  if (!word || !open_ || open_->request.destination != source_of(frame.id) || word->pgn != open_->request.pgn)
    return;
  if (word->acknowledged && *word->acknowledged != own_) return;
  if (!word->acknowledged && destination_of(frame.id) != kGlobalAddress && destination_of(frame.id) != own_)
    return;
  switch (word->kind) {
    case AcknowledgementKind::negative:
      return close(AnswerState::not_supported, frame.time);
    case AcknowledgementKind::access_denied:
      return close(AnswerState::access_denied, frame.time);
    case AcknowledgementKind::busy:
      return close(AnswerState::busy, frame.time);
    case AcknowledgementKind::positive:  // the message itself is the answer
    case AcknowledgementKind::reserved:
      return;
  }
}

void AskPlan::on_message(const Message& message) {
  if (message.source == own_) return;
  take_answer(message.source, message.pgn, message.carrier, message.start, message.data);
}

void AskPlan::on_transfer_end(const TransferEnd& end) {
  if (end.outcome == TransferOutcome::complete || !open_) return;
  if (end.source != open_->request.destination || end.pgn != open_->request.pgn) return;
  if (end.start < open_->at) return;  // began before it was asked
  close(AnswerState::broken_off, end.end);
}

void AskPlan::take_answer(Address source, Pgn pgn, Carrier carrier, TimeNs start, Bytes data) {
  const auto listed = std::find(times_.pgns.begin(), times_.pgns.end(), pgn);
  if (listed == times_.pgns.end() || source >= kNullAddress) return;
  const std::size_t index = static_cast<std::size_t>(listed - times_.pgns.begin());
  AskedController* controller = at(source);
  if (!controller) {
    add(source, std::nullopt);
    controller = at(source);
    if (!controller) return;
  }
  Answer& answer = controller->answers[index];
  const bool first = answer.state != AnswerState::answered;
  answer.state = AnswerState::answered;
  answer.data.assign(data.begin(), data.end());
  answer.carrier = carrier;
  if (!open_ || open_->request.pgn != pgn || start < open_->at) return;
  const bool directed = open_->request.destination == source;
  if (directed || (first && open_->request.destination == kGlobalAddress)) {
    answer.response_time = span_between(open_->at, start);
    answer.to_all = !directed;
  }
  if (directed) open_.reset();
}

void AskPlan::close(AnswerState state, TimeNs now) {
  Answer& answer = controllers_[open_->controller].answers[open_->answer];
  if (answer.state != AnswerState::answered) {
    answer.state = state;
    if (state != AnswerState::no_answer && state != AnswerState::broken_off)
      answer.response_time = span_between(open_->at, now);
  }
  if (state == AnswerState::busy)
    not_before_[open_->controller][open_->answer] = later_by(now, times_.busy_pause);
  open_.reset();
}

/// True while the open request may still be answered.
bool AskPlan::still_open(TimeNs now) {
  if (!open_) return false;
  const SpanNs waited = span_between(open_->at, now);
  if (waited < times_.patience) return true;
  const Address from = open_->request.destination;
  if (from == kGlobalAddress) {
    for (const AskedController& controller : controllers_)
      if (running_.is_open(controller.address, kGlobalAddress, now) && waited < times_.longest_transfer)
        return true;
    open_.reset();
    return false;
  }
  const bool coming = running_.is_open(from, own_, now) || running_.is_open(from, kGlobalAddress, now);
  if (coming && waited < times_.longest_transfer) return true;
  close(AnswerState::no_answer, now);
  return false;
}

std::optional<PlannedRequest> AskPlan::next(TimeNs now) {
  transfers_.advance(now);
  if (phase_ == Phase::over || still_open(now)) return std::nullopt;
  // An answer that is on its way for somebody else's sake must not be disturbed by the next request.
  if (now < quiet_until_ || (own_ != kNullAddress && running_.involves(own_, now))) return std::nullopt;
  if (phase_ == Phase::directed) {
    const auto request = next_directed(now);
    if (request || phase_ == Phase::directed) return request;
  }
  return next_for_all(now);
}

bool AskPlan::wants(const AskedController& controller, const Answer& answer) const {
  return controller.address < kNullAddress && controller.address != own_ && !is_final(answer.state) &&
         answer.tries < round_;
}

bool AskPlan::may_ask(std::size_t pgn, TimeNs now) const {
  return span_between(asked_[pgn], now) >= times_.between_same;
}

/// Whole rounds, so that somebody who is slow or busy has time until it is asked again.
std::optional<PlannedRequest> AskPlan::next_directed(TimeNs now) {
  for (; round_ <= times_.tries; ++round_) {
    bool waiting = false;
    for (std::size_t who = 0; who < controllers_.size(); ++who) {
      for (std::size_t what = 0; what < times_.pgns.size(); ++what) {
        if (!wants(controllers_[who], controllers_[who].answers[what])) continue;
        waiting = true;
        if (now >= not_before_[who][what] && may_ask(what, now))
          return PlannedRequest{times_.pgns[what], controllers_[who].address};
      }
    }
    if (waiting) return std::nullopt;
  }
  phase_ = times_.ask_all ? Phase::everybody : Phase::over;
  return std::nullopt;
}

std::optional<PlannedRequest> AskPlan::next_for_all(TimeNs now) {
  bool waiting = false;
  for (std::size_t what = 0; phase_ == Phase::everybody && what < times_.pgns.size(); ++what) {
    if (asked_all_[what]) continue;
    const bool missing = std::any_of(controllers_.begin(), controllers_.end(), [&](const AskedController& c) {
      return c.address < kNullAddress && !is_final(c.answers[what].state);
    });
    if (!missing) continue;
    if (may_ask(what, now)) return PlannedRequest{times_.pgns[what], kGlobalAddress};
    waiting = true;
  }
  if (!waiting) phase_ = Phase::over;
  return std::nullopt;
}

void AskPlan::sent(const PlannedRequest& request, TimeNs now) {
  const auto listed = std::find(times_.pgns.begin(), times_.pgns.end(), request.pgn);
  if (listed == times_.pgns.end()) return;
  Open open{request, 0, static_cast<std::size_t>(listed - times_.pgns.begin()), now};
  ++requests_;
  asked_[open.answer] = now;
  quiet_until_ = later_by(now, times_.between_requests);
  if (request.destination == kGlobalAddress) {
    asked_all_[open.answer] = true;
  } else {
    const AskedController* controller = at(request.destination);
    if (!controller) return;
    open.controller = static_cast<std::size_t>(controller - controllers_.data());
    ++controllers_[open.controller].answers[open.answer].tries;
  }
  open_ = open;
}

}  // namespace tramlog
