// How the machine is wired: branches of the trunk behind connectors, and who sits behind which.
#pragma once

#include <cstdint>
#include <string_view>
#include <vector>

#include "stage/scenario.hpp"

namespace tramlog::stage {

/// Controllers (their numbers in the scenario, ascending) on this branch and on all branches behind it. None
/// for an unknown branch.
std::vector<std::uint32_t> behind_branch(const Scenario& scenario, std::string_view branch);
const BranchSpec* find_branch(const Scenario& scenario, std::string_view branch);

/// What an error of the medium looks like in the recorder's eyes: data bytes 3 (type) and 4 (place) of an
/// error frame (fact sheet, network and diagnostics, 8.3), by the bit of the frame it hits.
struct WireError {
  std::uint8_t type = 0, place = 0;
};
/// `bit` counts from start of frame, `data_bytes` is the length of the frame's payload; `draw` chooses among
/// what is possible there.
WireError wire_error(unsigned bit, unsigned data_bytes, std::uint64_t draw);

/// The chance that a frame of so many bits is hit, if `noise` is the share of frames of 131 bits (8 bytes
/// without stuffing, with the intermission) that are: every bit is equally likely to be hit.
double error_chance(double noise, unsigned bits);

}  // namespace tramlog::stage
