#include <fmt/format.h>

#include <algorithm>

#include "can/error_frame.hpp"
#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check error_frames;

namespace {

using namespace error_frame;

std::string what_was_reported(const ErrorBurst& burst) {
  std::string text;
  const auto add = [&](bool there, const char* words) {
    if (there) text += (text.empty() ? "" : ", ") + std::string(words);
  };
  add(burst.classes & kBusOff, "bus-off");
  add(burst.classes & kRestarted, "restarted");
  add((burst.classes & kController) && (burst.controller_bits & 0x30), "error-passive");
  add((burst.classes & kController) && (burst.controller_bits & 0x0C), "error warning");
  add((burst.classes & kController) && (burst.controller_bits & 0x40), "error-active again");
  add((burst.classes & kController) && (burst.controller_bits & 0x01), "receive buffer overflow");
  add((burst.classes & kProtocol) && (burst.protocol_bits & 0x04), "stuff errors");
  add((burst.classes & kProtocol) && (burst.protocol_bits & 0x02), "form errors");
  add((burst.classes & kProtocol) && (burst.protocol_bits & 0x19), "bit errors");
  add(burst.classes & kNoAcknowledgement, "no acknowledgement");
  add(burst.classes & kTransceiver, "transceiver fault");
  add(text.empty() && (burst.classes & kBusError), "bus errors");
  return text.empty() ? "unspecified" : text;
}

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  const SeedingLimits& limits = *seen.limits;
  for (std::size_t b = 0; b < seen.buses.size(); ++b) {
    // Those that came with a silence are told there.
    const auto alone =
        std::count_if(seen.buses[b].bursts.begin(), seen.buses[b].bursts.end(), [&](const ErrorBurst& burst) {
          return std::none_of(all.dropouts.begin(), all.dropouts.end(), [&](const Dropout& d) {
            return d.bus == b && burst.last.time >= d.start.time - kSecond &&
                   burst.first.time <= d.judged_until + kSecond;
          });
        });
    const bool few = static_cast<double>(alone) <= limits["bus.passing_bursts"];
    for (const ErrorBurst& burst : seen.buses[b].bursts) {
      const bool only_state =
          (burst.classes & (kProtocol | kTransceiver | kNoAcknowledgement | kBusOff | kBusError)) == 0 &&
          (burst.controller_bits & 0x3C) == 0;
      const bool state_changed = (burst.classes & (kBusOff | kTransceiver | kNoAcknowledgement)) != 0 ||
                                 (burst.controller_bits & 0x3C) != 0;
      const bool passing =
          few && !state_changed && static_cast<double>(burst.frames) <= limits["bus.passing_errors"];
      Fault fault;
      fault.code = error_frames.code;
      fault.severity = only_state || passing ? Severity::note : Severity::warning;
      fault.start = burst.first.time;
      fault.end = burst.last.time;
      fault.bus = static_cast<BusIndex>(b);
      fault.text = fmt::format(
          "{} on {} within {}: {}{}.", counted(burst.frames, "error frame", "error frames"),
          all.buses[b].name, format_span(burst.last.time - burst.first.time), what_was_reported(burst),
          burst.receive_errors > 0 ? fmt::format("; receive error counter up to {}", burst.receive_errors)
                                   : "");
      fault.evidence.push_back({burst.first, "first error frame"});
      if (burst.last.frame != burst.first.frame) fault.evidence.push_back({burst.last, "last error frame"});
      faults.push_back(std::move(fault));
    }
  }
}

}  // namespace

const Check error_frames{
    "bus.error-frames",
    "The interface reported errors on the wire or changes of its error state (SocketCAN "
    "error frames; their absence proves nothing). A short burst that made nobody error-passive is a note.",
    judge};

}  // namespace tramlog::checks
