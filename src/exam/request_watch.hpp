// Requests to one controller, and what became of them: answered, refused, or nothing (fact sheet, network and
// diagnostics, 4.1, 4.2). Bounded; asks no clock.
#pragma once

#include <cstdint>
#include <vector>

#include "can/event.hpp"
#include "can/mark.hpp"
#include "exam/stream_table.hpp"
#include "isobus/acknowledgement.hpp"

namespace tramlog {

class RequestWatch {
 public:
  static constexpr std::size_t kMaxPending = 256;
  static constexpr std::size_t kMaxRecords = 256;
  /// A loss of frames may become known so much later (TransferLimits::loss_notice_delay): nothing is settled
  /// before.
  static constexpr SpanNs kLossNotice = 1200 * kMillisecond;

  struct Record {
    const Party* party = nullptr;  // who was asked
    BusIndex bus = 0;
    Address address = 0, asker = 0;
    Pgn pgn = 0;
    unsigned asked = 0, unanswered = 0;
    unsigned refused[3] = {0, 0, 0};  // control bytes 1, 2, 3
    Mark first, last;                 // of those unanswered or refused
  };

  /// `answer`: how long an answer may take.
  explicit RequestWatch(SpanNs answer) : answer_(answer) {}

  /// A request from `by` to `to`, whose voice is `party`.
  void take_request(BusIndex bus, Address by, Address to, Pgn pgn, const Party& party, Mark at);
  void take_acknowledgement(BusIndex bus, Address from, const Acknowledgement& answer);
  /// Time has come this far: requests whose time is up are settled by what came since.
  void advance(TimeNs now, const StreamTable& streams);
  /// Frames of this bus are missing: nobody can say what was answered.
  void note_loss(BusIndex bus, TimeNs from, TimeNs to);
  void take_clock_step() { pending_.clear(); }
  /// `from` has become `to`: a voice got its NAME.
  void rename(const Party& from, const Party& to);

  const std::vector<Record>& records() const { return records_; }
  std::uint64_t not_kept() const { return not_kept_; }

 private:
  struct Pending {
    const Party* party;
    BusIndex bus;
    Address by, to;
    Pgn pgn;
    Mark at;
  };
  Record* record_of(const Pending& request);
  bool answered(const Pending& request, const StreamTable& streams) const;

  SpanNs answer_;
  std::vector<Pending> pending_;  // by time
  std::vector<Record> records_;
  std::uint64_t not_kept_ = 0;
};

}  // namespace tramlog
