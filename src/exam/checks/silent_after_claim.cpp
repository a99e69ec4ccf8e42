#include <fmt/format.h>

#include <algorithm>

#include "exam/check_tools.hpp"

namespace tramlog::checks {

extern const Check silent_after_claim;

namespace {

// A peer that talks sends more than an answer now and then.
constexpr std::uint64_t kTalks = 20;

bool same_kind(Name a, Name b) {
  return a.industry_group() == b.industry_group() && a.device_class() == b.device_class() &&
         a.function() == b.function() && a.manufacturer_code() == b.manufacturer_code();
}

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  const SpanNs patience = span_of(seen, "controller.silent_after_claim_s");
  for (const std::size_t mute : seen.mute) {
    const ControllerRecord& controller = all.controllers[mute];
    if (controller.addresses.empty() || controller.state == ControllerState::refused) continue;
    TimeNs until = controller.addresses.back().end.value_or(all.end);
    for (const BusSilence& silence : all.silences)
      if (silence.bus == controller.bus && silence.start.time > controller.last_seen.time)
        until = std::min(until, silence.start.time);
    SpanNs heard = until - controller.last_seen.time;
    for (const BlindSpan& blind : all.buses[controller.bus].blind)
      heard -=
          std::max<SpanNs>(std::min(blind.end, until) - std::max(blind.start, controller.last_seen.time), 0);
    if (heard < patience) continue;
    // Nothing obliges a member to talk; where its equals do, it should.
    const auto peer =
        std::find_if(all.controllers.begin(), all.controllers.end(), [&](const ControllerRecord& other) {
          return other.bus == controller.bus && other.name != controller.name &&
                 same_kind(other.name, controller.name) && other.frames >= other.claims + kTalks &&
                 other.rhythms > 0;
        });
    if (peer == all.controllers.end()) continue;
    Fault fault;
    fault.code = silent_after_claim.code;
    fault.severity = Severity::warning;
    fault.start = controller.first_seen.time;
    fault.end = until;
    fault.controllers = {mute};
    fault.bus = controller.bus;
    fault.text = fmt::format(
        "{} claimed its address ({}) and sent nothing else in {}; {}, of the same kind and maker, sent {}.",
        controller_words(all, mute), counted(controller.claims, "claim", "claims"), format_span(heard),
        controller_words(all, static_cast<std::size_t>(peer - all.controllers.begin())),
        counted(peer->frames - peer->claims, "frame", "frames"));
    fault.evidence.push_back({controller.last_seen, "its last claim"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check silent_after_claim{
    "controller.silent-after-claim",
    "A controller claimed its address and never sent anything else for 30 s and more, although another "
    "one of the same function and maker talks.",
    judge};

}  // namespace tramlog::checks
