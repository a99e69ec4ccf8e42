#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause cranking;

namespace {

void tell(const Scene& scene, Finding& finding) {
  const auto seen = [&](const char* evidence) {
    return find_evidence(evidence)->weigh(scene).degree.value_or(0) > 0;
  };
  if (seen("engine-started") || seen("key-on")) {
    finding.text =
        fmt::format("The supply sagged while the engine was started: {} started again together {}.",
                    who(scene), when(scene.incident));
  } else {
    finding.text = fmt::format(
        "The supply sagged for a moment, as when an engine is started: {} started again together {}.",
        who(scene), when(scene.incident));
    finding.confidence = Confidence::possible;  // nobody saw the starter turn
  }
  finding.next_steps = {
      "Battery and its ground cables.",
      "Voltage at the breakaway connector (ECU_PWR against ECU_GND) while cranking: 9 V at least.",
      "If it happens only at start-up: wait for the roll call before work begins."};
}

}  // namespace

const Cause cranking{"supply.cranking", bit_of(IncidentKind::silence) | bit_of(IncidentKind::restarts), tell};

}  // namespace tramlog::causes
