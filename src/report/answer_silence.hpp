// Who was away only because nothing at all was heard on its bus: that is one thing, not one of every
// controller.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "exam/conclusions.hpp"

namespace tramlog {

/// Intermittent or lost, and each of its dropouts (but for the end of a power supply) was its whole bus.
bool away_with_bus(const Conclusions& conclusions, std::size_t controller);

/// A sentence for each silence of a bus: how long, who was away with it, and (if `findings` are told, too) which
/// one says why. At most `most`.
std::vector<std::string> silence_answers(const Conclusions& conclusions, std::size_t most, bool findings);

}  // namespace tramlog
