#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause gone_for_good;

namespace {

void tell(const Scene& scene, Finding& finding) {
  const Mark at =
      scene.incident.times.empty() ? Mark{scene.incident.start, 0} : scene.incident.times.back().start;
  finding.text =
      fmt::format("{} lost its power or its bus wires, or failed, at {}.", who(scene), mark_words(at));
  finding.next_steps = {fmt::format("Fuse and supply voltage of {}.", who(scene)),
                        "Its plug and both bus wires of its stub, key off first.", "Swap the unit."};
}

}  // namespace

const Cause gone_for_good{"unit.lost", bit_of(IncidentKind::silence), tell};

}  // namespace tramlog::causes
