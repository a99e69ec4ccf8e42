// Damage to a finished capture, as a scenario prescribes it: what a power failure or a bad card does to a
// file.
#pragma once

#include <string>
#include <vector>

#include "stage/scenario.hpp"

namespace tramlog::stage {

/// Carries out the list in order. Positions beyond the file are an error (ErrorKind::usage).
Result<std::uint64_t> damage_file(const std::string& path, const std::vector<DamageSpec>& damage);

}  // namespace tramlog::stage
