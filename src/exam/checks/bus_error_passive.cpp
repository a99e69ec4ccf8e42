#include <fmt/format.h>

#include <algorithm>

#include "can/error_frame.hpp"
#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check bus_error_passive;

namespace {

constexpr std::uint8_t kReceivePassive = 0x10, kSendPassive = 0x20;

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (std::size_t b = 0; b < seen.buses.size(); ++b) {
    const auto& bursts = seen.buses[b].bursts;
    const auto passive = [](const ErrorBurst& burst) {
      return (burst.classes & error_frame::kController) != 0 &&
             (burst.controller_bits & (kReceivePassive | kSendPassive)) != 0;
    };
    const auto first = std::find_if(bursts.begin(), bursts.end(), passive);
    if (first == bursts.end()) continue;
    unsigned times = 0;
    std::uint8_t bits = 0, receive = 0, send = 0;
    const ErrorBurst* last = nullptr;
    const ErrorBurst* recovered = nullptr;
    for (const ErrorBurst& burst : bursts) {
      if (passive(burst)) {
        ++times;
        bits |= burst.controller_bits;
        receive = std::max(receive, burst.receive_errors);
        send = std::max(send, burst.transmit_errors);
        last = &burst;
        recovered = nullptr;
      }
      const bool active =
          (burst.classes & error_frame::kController) && (burst.controller_bits & error_frame::kActiveAgain);
      if (last != nullptr && (active || (burst.classes & error_frame::kRestarted))) recovered = &burst;
    }
    Fault fault;
    fault.code = bus_error_passive.code;
    fault.severity = Severity::warning;
    fault.start = first->first.time;
    if (recovered) fault.end = recovered->last.time;
    fault.bus = static_cast<BusIndex>(b);
    fault.text = fmt::format(
        "The recorder's interface on {} became error-passive{}, by errors while {}{}; {}.", all.buses[b].name,
        times > 1 ? fmt::format(" {} times", times) : "",
        (bits & kReceivePassive) && (bits & kSendPassive) ? "receiving and sending"
        : (bits & kReceivePassive)                        ? "receiving"
                                                          : "sending",
        receive > 0 || send > 0 ? fmt::format(" (counters up to {} receiving, {} sending)", receive, send)
                                : "",
        recovered ? "it became error-active again" : "nothing tells that it recovered");
    fault.evidence.push_back({first->first, "error-passive first reported"});
    if (recovered) fault.evidence.push_back({recovered->last, "error-active again"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check bus_error_passive{"bus.error-passive",
                              "The interface reported error-passive: an error counter reached 128 (ISO "
                              "11898-1; fact sheet 9.3), so one "
                              "frame in nine and more went wrong.",
                              judge};

}  // namespace tramlog::checks
