#include <fmt/format.h>

#include "exam/check.hpp"

namespace tramlog::checks {

extern const Check unclaimed_voice;

namespace {

void judge(const Conclusions& all, const Observations&, std::vector<Fault>& faults) {
  for (const UnclaimedRecord& voice : all.unclaimed) {
    const bool from_the_beginning = voice.first_seen.time - all.start <= kCaptureBeginning && !voice.asked;
    Fault fault;
    fault.code = unclaimed_voice.code;
    fault.severity = from_the_beginning ? Severity::note : Severity::warning;
    fault.start = voice.first_seen.time;
    fault.end = voice.last_seen.time;
    fault.bus = voice.bus;
    fault.text =
        fmt::format("Address {} sent {} without an address claim{}.", address_words(voice.address),
                    counted(voice.frames, "frame", "frames"),
                    from_the_beginning ? "; it was talking when the capture began and may have claimed before"
                    : voice.asked      ? ", and did not answer when everybody was asked for it"
                                       : "");
    fault.evidence.push_back({voice.first_seen, "first frame"});
    faults.push_back(std::move(fault));
  }
}

}  // namespace

const Check unclaimed_voice{"network.unclaimed",
                            "Somebody talks from an address that no NAME has claimed (ISO 11783-5).", judge};

}  // namespace tramlog::checks
