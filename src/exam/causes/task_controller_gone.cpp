#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause task_controller_gone;

namespace {

void tell(const Scene& scene, Finding& finding) {
  const bool silent = scene.incident.kind == IncidentKind::silence;
  finding.text =
      silent ? fmt::format(
                   "The task controller ({}) fell silent {}: its clients close down 6 s later; look at it, "
                   "not at them.",
                   who(scene), when(scene.incident))
             : std::string("The task controller is missing: what its partners say only follows from it.");
  finding.next_steps = {"Is the function switched on in the display, and licensed?",
                        "Did the display restart or freeze? Its supply and plug, key off first.",
                        "Versions of the task controller and of its partners."};
}

}  // namespace

const Cause task_controller_gone{
    "partner.task-controller",
    bit_of(IncidentKind::silence) | bit_of(IncidentKind::partner) | bit_of(IncidentKind::missing), tell};

}  // namespace tramlog::causes
