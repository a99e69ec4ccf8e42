#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause incomplete;

namespace {

constexpr std::size_t kReasons = 3;

void tell(const Scene& scene, Finding& finding) {
  std::size_t nameless = 0;
  for (const std::size_t f : scene.incident.faults) {
    const Fault& fault = scene.all.faults[f];
    nameless += fault.code == "network.unclaimed";
    if (finding.why.size() < kReasons) finding.why.push_back(fault.text);
  }
  if (scene.incident.faults.size() > kReasons)
    finding.why.push_back(fmt::format("And {} more.", scene.incident.faults.size() - kReasons));
  const std::string lost =
      fmt::format("{} could not be read", counted(scene.all.damaged_bytes, "byte", "bytes"));
  if (nameless > 0) {
    finding.text = fmt::format(
        "The recording begins in the middle of things: {} talked from its first seconds, and nobody asked "
        "who they are{}.",
        counted(nameless, "address", "addresses"), scene.all.damaged_bytes > 0 ? "; " + lost : "");
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
