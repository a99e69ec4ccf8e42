// Random scenarios: a machine, at most one main cause, and what disturbs the view of it, all from a seed. The
// result is the text of a scenario, so that what is drawn can be read, kept and played again to the same
// bytes.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/result.hpp"

namespace tramlog::stage {

struct Drawn {
  std::string scenario;  // TOML (SCENARIO.md)
  std::string roster;    // TOML, the matching roster file
  std::string cause;     // code; empty: healthy
};

/// Codes that can be drawn, in a fixed order.
const std::vector<std::string>& drawable_causes();

/// The same seed and cause always give the same. Without `cause` a fifth is healthy, the others have one of
/// the codes; with it that one, "none" for a healthy machine. ErrorKind::usage for an unknown code.
Result<Drawn> draw_scenario(std::uint64_t seed, const std::optional<std::string>& cause = std::nullopt);

}  // namespace tramlog::stage
