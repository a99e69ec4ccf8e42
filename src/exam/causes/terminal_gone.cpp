#include <fmt/format.h>

#include "exam/cause.hpp"

namespace tramlog::causes {

extern const Cause terminal_gone;

namespace {

void tell(const Scene& scene, Finding& finding) {
  const bool silent = scene.incident.kind == IncidentKind::silence;
  finding.text = silent ? fmt::format(
                              "The terminal ({}) fell silent {}: its working sets lose their pages after 3 "
                              "s; look at it, not at them.",
                              who(scene), when(scene.incident))
                        : std::string("The terminal is missing: what its partners say only follows from it.");
  const char* const licensed = "Is the function switched on in the display, and licensed?";
  const char* const supply = "Did the display restart or freeze? Its supply and plug, key off first.";
  finding.next_steps = {silent ? supply : licensed, silent ? licensed : supply,
                        "Versions of the terminal and of its partners."};
}

}  // namespace

const Cause terminal_gone{
    "partner.terminal",
    bit_of(IncidentKind::silence) | bit_of(IncidentKind::partner) | bit_of(IncidentKind::missing), tell};

}  // namespace tramlog::causes
