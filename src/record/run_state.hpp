// The highest run number ever given in a folder, kept in a file of its own: retention cannot make a number
// come back.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "base/result.hpp"

namespace tramlog {

inline constexpr std::string_view kRunState = "last-run";

struct RunState {
  std::uint32_t last_run = 0;  // 0: none yet
  bool damaged = false;        // the file is there but says nothing
};

/// Errors: environment (permission, device).
Result<RunState> read_run_state(const std::string& folder);

/// "run 000123" on the disk when it returns. On a full disk the old file is overwritten in its place, which
/// needs no room.
Result<bool> write_run_state(const std::string& folder, std::uint32_t last_run);

}  // namespace tramlog
