// What a task controller asked of a client and what is still open (ISO 11783-10; fact sheet, process
// data, 1.3 to 1.5).
#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <vector>

#include "can/mark.hpp"
#include "isobus/process_data.hpp"

namespace tramlog {

struct OpenRequest {
  ProcessVariable variable;
  ProcessCommand command = ProcessCommand::request_value;
  std::int64_t raw = 0;
  Mark at;
  TimeNs deadline = 0;
  std::optional<TimeNs> suspected;  // when it was first seen to be overdue
};

/// That the recorder was blind may become known so late (TransferLimits::loss_notice_delay): silence is
/// judged only when it has gone on for so long after it was first noticed.
inline constexpr SpanNs kSecondLook = 1500 * kMillisecond;

/// Requests, set values and measurement commands in the order in which they were sent. Bounded: beyond kMax
/// the oldest is dropped without a verdict.
class OpenRequests {
 public:
  static constexpr std::size_t kMax = 512;
  /// Each one that waits already gives the next 100 ms more: clients work through a burst one by one (1.4:
  /// about 10 messages a second).
  static constexpr SpanNs kForEachBefore = 100 * kMillisecond, kMostPatience = 30 * kSecond;

  void add(ProcessVariable variable, ProcessCommand command, std::int64_t raw, Mark at, SpanNs patience);
  /// A value came: closes all requests for it and says how many.
  std::size_t answer(ProcessVariable variable);
  /// What an acknowledgement answers. Before version 4 it does not say which command: then the error bits and
  /// the time tell.
  std::optional<OpenRequest> acknowledge(const ProcessAcknowledgement& told, TimeNs now);
  /// Takes out what is overdue and was so kSecondLook ago.
  std::vector<OpenRequest> expire(TimeNs now);
  void clear() { open_.clear(); }
  std::uint64_t dropped() const { return dropped_; }

 private:
  std::deque<OpenRequest> open_;
  std::uint64_t dropped_ = 0;
};

}  // namespace tramlog
