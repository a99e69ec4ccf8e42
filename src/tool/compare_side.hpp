// One side of a comparison out of what the user named.
#pragma once

#include "compare/compare.hpp"
#include "tool/command.hpp"

namespace tramlog {

/// What one side was made of, and whether some of its input could not be read.
struct LoadedSide {
  CompareSide side;
  bool damaged = false;
};

/// One JSON report, or captures (files, and folders with captures in them), told apart by their content.
/// `options` holds roster and schema for captures; its own captures do not count.
Result<LoadedSide> load_side(const std::vector<std::string>& paths, const CommonOptions& options,
                             const std::optional<Roster>& roster, const Schema& schema);

}  // namespace tramlog
