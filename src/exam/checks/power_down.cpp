#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check power_down;

namespace {

void judge(const Conclusions& all, const Observations&, std::vector<Fault>& faults) {
  for (const BusSilence& silence : all.silences) {
    if (silence.verdict != BusSilence::Verdict::power_down) continue;
    Fault fault;
    fault.code = power_down.code;
    fault.severity = Severity::note;
    fault.start = silence.start.time;
    if (silence.end) fault.end = silence.end->time;
    fault.bus = silence.bus;
    fault.text =
        fmt::format("Ordinary power-down on {}: {}; then nothing for {}{}.", all.buses[silence.bus].name,
                    silence.why, format_span(silence.judged_until - silence.start.time),
                    silence.end ? "" : ", until the capture's end");
    fault.evidence.push_back({silence.start, "last frame"});
    if (silence.end) fault.evidence.push_back({*silence.end, "first frame after"});
    faults.push_back(std::move(fault));
  }
  // Part of the bus may wind down while the rest, an engine controller for one, goes on.
  std::vector<std::size_t> alone;
  const Dropout* first = nullptr;
  for (const Dropout& dropout : all.dropouts) {
    if (dropout.kind != DropoutKind::power_down) continue;
    bool with_bus = false;
    for (const BusSilence& silence : all.silences)
      with_bus = with_bus || (silence.bus == dropout.bus && silence.verdict == BusSilence::Verdict::power_down &&
                              dropout.judged_until >= silence.start.time);
    if (with_bus) continue;
    if (first == nullptr) first = &dropout;
    if (dropout.controller) alone.push_back(*dropout.controller);
  }
  if (first == nullptr) return;
  Fault fault;
  fault.code = power_down.code;
  fault.severity = Severity::note;
  fault.start = first->start.time;
  fault.controllers = alone;
  fault.bus = first->bus;
  fault.text = fmt::format("Ordinary power-down of {}: they fell silent when the machine was switched off.",
                           controllers_words(all, alone));
  fault.evidence.push_back({first->start, "last frame of the first of them"});
  faults.push_back(std::move(fault));
}

}  // namespace

const Check power_down{"machine.power-down",
                       "The machine was switched off: key switch off or orderly end of traffic, then silence "
                       "(fact sheet 6.1). Not a dropout.",
                       judge};

}  // namespace tramlog::checks
