// The roll call by asking: who is there, with which software, and with which active faults (fact sheet,
// network and diagnostics, 3.4, 4.1, 7.5). One request is open at a time; nothing is sent while there is a
// reason not to.
//
//   MotionGuard guard(running_time());
//   auto tool = ServiceTool::open({... .on_event = [&](const Event& e) { guard.take(e); }, .stop = &stop});
//   const auto may_go_on = [&]() -> std::optional<std::string> {
//     const auto reasons = guard.reasons_not_to_transmit(running_time());
//     return reasons.empty() ? std::nullopt : std::optional(reasons.front());
//   };
//   auto outcome = ask_everybody(*tool, {}, may_go_on, [](const AskProgress& p) { ... });
//   if (!outcome) ...                      // nothing could be asked
//   for (const AskedController& c : outcome->controllers) for (const Answer& a : c.answers) ...
//   if (a.pgn == kPgnSoftwareIdentification) parse_software_identification(a.data);
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "base/result.hpp"
#include "wire/ask_plan.hpp"
#include "wire/service_tool.hpp"

namespace tramlog {

struct AskOptions {
  SpanNs listen_first = 3 * kSecond;             // nothing is sent in this time
  SpanNs wait_for_claims = 1250 * kMillisecond;  // after the request for address claimed (fact sheet 3.4)
  AskTimes times;
};

struct AskProgress {
  enum class Step : std::uint8_t { listening, claiming, calling, asking, giving_back } step = Step::listening;
  std::size_t controllers = 0;            // known so far
  unsigned requests = 0;                  // sent so far
  std::optional<PlannedRequest> request;  // step asking: the one that was just sent
};

struct AskResult {
  Address own_address = kNullAddress;  // that was asked from; given back since
  Name own_name;
  std::vector<AskedController> controllers;  // by address; those without one at the end
  unsigned requests = 0;                     // directed and to all, without that for the claims
  bool complete = false;                     // everybody was asked everything
  std::string stopped;                       // why not; a sentence part, "interrupted" by the stop flag
};

/// Listens, claims, asks, gives the address back; also when it is stopped in between. An error means that
/// nothing was asked: a reason not to transmit from the beginning, no address, an interface that is gone.
/// Later troubles are in `stopped`.
Result<AskResult> ask_everybody(ServiceTool& tool, const AskOptions& options,
                                const std::function<std::optional<std::string>()>& may_go_on,
                                const std::function<void(const AskProgress&)>& progress = {});

}  // namespace tramlog
