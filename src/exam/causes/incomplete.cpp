#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause incomplete;

namespace {

void tell(const Scene& scene, Finding& finding) {
  finding.text = fmt::format("The capture itself is damaged or incomplete: {} could not be read.",
                             counted(scene.all.damaged_bytes, "byte", "bytes"));
  for (const std::size_t f : scene.incident.faults) finding.why.push_back(scene.all.faults[f].text);
  if (finding.why.size() > 3) finding.why.resize(3);
  finding.next_steps = {"Copy it again from the recorder; was the recorder switched off while it wrote?",
                        "What could be read is reported; nothing is said of the rest."};
}

}  // namespace

const Cause incomplete{"capture.incomplete", bit_of(IncidentKind::capture), tell};

}  // namespace tramlog::causes
