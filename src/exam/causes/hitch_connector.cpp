#include <fmt/format.h>

#include <algorithm>

#include "exam/cause.hpp"
#include "exam/cause_tools.hpp"

namespace tramlog::causes {

extern const Cause hitch_connector;

namespace {

void tell(const Scene& scene, Finding& finding) {
  const auto left = unaffected(scene.all, scene.incident);
  const bool part =
      std::any_of(left.begin(), left.end(), [&](std::size_t c) { return side_of(scene.all, c).implement; });
  if (part) {
    finding.text = fmt::format("A plug within the implement opened {}, with {} behind it.",
                               when(scene.incident), who(scene));
    finding.next_steps = {
        "The plug before these controllers, key off first: locked, straight pins, no corrosion, no pull on "
        "the cable.",
        "Supply and bus wires on both sides of that plug.",
        "Move the cable by hand while the roll call runs."};
    return;
  }
  finding.text = fmt::format(
      "The implement bus breakaway connector or the implement's main supply opened {}: all {} controllers of "
      "the implement dropped out together.",
      when(scene.incident), scene.incident.parties);
  finding.next_steps = {
      "Breakaway connector, key off first: locked, straight pins, no corrosion, no pull on the cable.",
      "Implement supply at the connector (ECU_PWR against ECU_GND, PWR against GND; pins by the machine's "
      "manual).",
      "Fuse and relay of the implement supply on the tractor.",
      "Bus termination at both ends after plugging and unplugging."};
}

}  // namespace

const Cause hitch_connector{"connector.hitch", bit_of(IncidentKind::silence), tell};

}  // namespace tramlog::causes
