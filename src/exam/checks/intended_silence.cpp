#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check intended_silence;

namespace {

void judge(const Conclusions& all, const Observations& seen, std::vector<Fault>& faults) {
  for (const IntendedSilence& silence : seen.intended) {
    Fault fault;
    fault.code = intended_silence.code;
    fault.severity = Severity::note;
    fault.start = silence.start.time;
    if (silence.end) fault.end = silence.end->time;
    if (silence.controller) fault.controllers = {*silence.controller};
    fault.bus = silence.bus;
    fault.text =
        fmt::format("{} fell silent on purpose: {}.", voice_words(all, silence.controller, silence.address),
                    silence.farewell ? "its heartbeat said so (value 255)" : "DM13 had stopped the traffic");
    fault.evidence.push_back({silence.start, "last frame before"});
    if (silence.end) fault.evidence.push_back({*silence.end, "first frame after"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check intended_silence{"controller.intended-silence",
                             "A controller fell silent after it had said so (heartbeat 255) or while DM13 "
                             "had stopped the traffic. Not a dropout.",
                             judge};

}  // namespace tramlog::checks
