#include <fmt/format.h>

#include "exam/cause.hpp"
#include "exam/damage_words.hpp"

namespace tramlog::causes {

extern const Cause incomplete;

namespace {

constexpr std::size_t kReasons = 3;

void tell(const Scene& scene, Finding& finding) {
  std::size_t nameless = 0, times = 0, others = 0;
  std::uint64_t frames = 0;
  for (const std::size_t f : scene.incident.faults) {
    const Fault& fault = scene.all.faults[f];
    nameless += fault.code == "network.unclaimed";
    if (const BlindSpan* span = blind_span(scene.all, fault)) {
      ++times;
      frames += span->frames_lost.value_or(0);
    } else if (++others <= kReasons) {
      finding.why.push_back(fault.text);
    }
  }
  if (others > kReasons) finding.why.push_back(fmt::format("And {} more.", others - kReasons));
  if (times > 0)
    finding.why.push_back(fmt::format(
        "{} of this report {} from it: times without a word{}.", counted(times, "line", "lines"),
        times == 1 ? "follows" : "follow",
        frames > 0 ? fmt::format(", {} counted by the recorder", counted(frames, "frame", "frames")) : ""));
  const DamageTally tally = damage_here(scene.all);
  const std::string lost =
      damage_sum_words(tally, counted(tally.bytes, "byte", "bytes") + " could not be read");
  if (nameless > 0) {
    finding.text = fmt::format(
        "The recording begins in the middle of things: {} talked from its first seconds, and nobody asked "
        "who they are{}.",
        counted(nameless, "address", "addresses"), tally.places > 0 ? "; " + lost : "");
    finding.next_steps = {
        "Record from key-on, so that every controller claims its address while it is recorded.",
        "Or have them asked once: tramlog rollcall --live --ask, with the machine standing.",
        "Who was already lost before the recording began cannot be known from it."};
    return;
  }
  finding.text = fmt::format("The capture itself is damaged or incomplete: {}.", lost);
  finding.next_steps = {"Copy it again from the recorder; was the recorder switched off while it wrote?",
                        "What could be read is reported; nothing is said of the rest."};
}

}  // namespace

const Cause incomplete{"capture.incomplete", bit_of(IncidentKind::capture), tell};

}  // namespace tramlog::causes
