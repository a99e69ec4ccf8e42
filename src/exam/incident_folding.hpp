// Which faults only follow from an incident.
#pragma once

#include "exam/incidents.hpp"

namespace tramlog {

/// Puts faults that are not `taken` yet under the incident they follow from: within its times or shortly
/// after, and naming its controllers or complaining about them.
void fold_consequences(const Conclusions& all, std::vector<Incident>& incidents,
                       std::vector<bool>& taken);

/// Errors on the wires from 1.5 s before one of its times to 1.5 s after.
bool at_its_moments(const Incident& incident, const ErrorBurst& burst);

}  // namespace tramlog
