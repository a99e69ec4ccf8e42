// What to ask whom and when, and what became of it (ISO 11783-3, -12; fact sheet, network and
// diagnostics, 4.1, 4.2, 7.5). Pure: frames and time come in, requests go out one at a time.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "can/can_id.hpp"
#include "can/event.hpp"
#include "isobus/diagnostics.hpp"
#include "isobus/identification.hpp"
#include "isobus/name.hpp"
#include "isobus/transfers.hpp"
#include "wire/open_transfers.hpp"

namespace tramlog {

enum class AnswerState : std::uint8_t {
  not_asked,
  answered,
  not_supported,  // acknowledgement 1: an answer, too
  access_denied,  // 2
  busy,           // 3, to the last try
  broken_off,     // the answer's transfer failed, to the last try
  no_answer,
};
/// "answered", "not supported", "no answer", ..
const char* answer_state_text(AnswerState state);

struct Answer {
  Pgn pgn = 0;
  AnswerState state = AnswerState::not_asked;
  unsigned tries = 0;  // directed requests sent; 0 with an answer: heard unasked
  std::vector<std::uint8_t>
      data;  // of the latest message, as it was on the bus; see isobus/identification.hpp
  Carrier carrier = Carrier::single;
  std::optional<SpanNs> response_time;  // from the request to the answer's first frame or the acknowledgement
  bool to_all = false;                  // came after a request to all, not after one to this controller
  bool late() const { return response_time && *response_time > 200 * kMillisecond; }  // Tr (4.1)
};

struct AskedController {
  Address address = kNullAddress;  // where it was when it was last heard; null: it lost or left it
  std::optional<Name> name;        // none: talks, but never claimed
  std::vector<Answer> answers;     // one a PGN, in the order of AskTimes::pgns
};

struct AskTimes {
  std::vector<Pgn> pgns{kPgnSoftwareIdentification, kPgnEcuIdentification, kPgnProductIdentification,
                        kPgnDm1};
  unsigned tries = 3;                            // 4.1
  SpanNs patience = 1250 * kMillisecond;         // until a request counts as not answered (4.1)
  SpanNs between_requests = 100 * kMillisecond;  // of any kind (7.5)
  SpanNs between_same = 400 * kMillisecond;      // two and a half a second for the same PGN (4.1)
  SpanNs busy_pause = 1250 * kMillisecond;       // until a busy controller is asked again
  SpanNs longest_transfer = 30 * kSecond;        // an answer that takes longer is given up
  /// At the end each PGN that somebody is still missing is asked from all, once.
  bool ask_all = true;
};

struct PlannedRequest {
  Pgn pgn = 0;
  Address destination = kGlobalAddress;
};

class AskPlan final : private TransferSink {
 public:
  static constexpr std::size_t kMaxControllers = 512;
  static constexpr std::size_t kMaxAnswerBytes = 4096;

  explicit AskPlan(AskTimes times);
  ~AskPlan() override;

  /// The own address; a request that is open when it changes is asked again and does not count as a try.
  void set_own(Address address);
  /// A controller that is to be asked. Known ones (by NAME, else by address) move to the address.
  void add(Address address, std::optional<Name> name);
  /// Every frame of the bus, the own kernel's transport frames included.
  void hear(const Event& frame);

  /// A request that is to be sent now. Call sent() when it went out, or stop asking.
  std::optional<PlannedRequest> next(TimeNs now);
  void sent(const PlannedRequest& request, TimeNs now);
  /// Nothing is open and nothing will be asked any more.
  bool done() const { return phase_ == Phase::over; }

  const std::vector<AskedController>& controllers() const { return controllers_; }
  unsigned requests() const { return requests_; }

 private:
  enum class Phase : std::uint8_t { directed, everybody, over };
  struct Open {
    PlannedRequest request;
    std::size_t controller = 0;  // directed ones only
    std::size_t answer = 0;
    TimeNs at = 0;
  };

  void on_message(const Message& message) override;
  void on_transfer_end(const TransferEnd& end) override;
  void hear_claim(const Event& frame);
  void hear_acknowledgement(const Event& frame);
  void take_answer(Address source, Pgn pgn, Carrier carrier, TimeNs start, Bytes data);
  bool still_open(TimeNs now);
  void close(AnswerState state, TimeNs now);
  bool wants(const AskedController& controller, const Answer& answer) const;
  std::optional<PlannedRequest> next_directed(TimeNs now);
  std::optional<PlannedRequest> next_for_all(TimeNs now);
  bool may_ask(std::size_t pgn, TimeNs now) const;
  AskedController* at(Address address);

  AskTimes times_;
  Address own_ = kNullAddress;
  std::vector<AskedController> controllers_;
  std::vector<std::vector<TimeNs>> not_before_;  // as controllers_ and their answers
  std::vector<TimeNs> asked_;                    // by PGN
  std::vector<bool> asked_all_;
  std::optional<Open> open_;
  TimeNs quiet_until_ = INT64_MIN / 2;
  unsigned round_ = 1;
  Phase phase_ = Phase::directed;
  unsigned requests_ = 0;
  OpenTransfers running_;
  Transfers transfers_;
};

}  // namespace tramlog
