#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check recorder_blind;

namespace {

void judge(const Conclusions& all, const Observations&, std::vector<Fault>& faults) {
  for (std::size_t b = 0; b < all.buses.size(); ++b)
    for (const BlindSpan& span : all.buses[b].blind) {
      if (span.kind == Deafness::left_out) continue;
      Fault fault;
      fault.code = recorder_blind.code;
      // Below a second and a handful of frames no controller can hide.
      const bool small = span.end - span.start <= kSecond && span.frames_lost.value_or(0) <= 10;
      fault.severity = small ? Severity::note : Severity::warning;
      fault.start = span.start;
      fault.end = span.end;
      fault.bus = static_cast<BusIndex>(b);
      fault.text = fmt::format(
          "{} {} for {}: {}{}.",
          span.kind == Deafness::damaged ? "What was recorded cannot be read of" : "The recorder did not hear all of",
          all.buses[b].name, format_span(span.end - span.start), span.reason,
          span.frames_lost ? fmt::format(", {} lost", counted(*span.frames_lost, "frame", "frames")) : "");
      fault.evidence.push_back({{span.start, 0}, "heard until here"});
      fault.evidence.push_back({{span.end, 0}, "heard again from here"});
      faults.push_back(std::move(fault));
    }
}

}  // namespace

const Check recorder_blind{"recorder.blind",
                           "The recorder lost frames or could not hear; nothing is concluded from that time. "
                           "Not a fault of the machine.",
                           judge};

}  // namespace tramlog::checks
