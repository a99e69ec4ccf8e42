// From incidents to findings: every incident gets the cause that fits best, a second one where the two cannot
// be told apart, or the honest word that its cause is not known.
#pragma once

#include "exam/cause_weights.hpp"
#include "exam/incidents.hpp"

namespace tramlog {

/// The cause of an incident that nothing explains.
inline constexpr const char* kCauseNotKnown = "unknown";

/// Ranked: the worst incident first, its second cause right behind its first.
std::vector<Finding> find_causes(const Conclusions& found, const Observations& seen,
                                 const CauseWeights& weights);

}  // namespace tramlog
