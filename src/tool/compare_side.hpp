// One side of a comparison out of what the user named.
#pragma once

#include "compare/compare.hpp"
#include "tool/command.hpp"

namespace tramlog {

/// What the user named as one side.
struct NamedSide {
  std::vector<std::string> paths;
  std::string day;         // of captures of several days; empty: none was named
  std::string day_option;  // "--before-day"
  std::string words;       // "the side before"
};

/// What one side was made of, and whether some of its input could not be read.
struct LoadedSide {
  CompareSide side;
  bool damaged = false;
};

/// One JSON report, one parcel, or captures (files, and folders with captures in them) of one day, told apart
/// by their content. Captures of several days are a usage error that lists them, unless one was named.
/// `options` holds roster and schema for captures; its own captures do not count.
Result<LoadedSide> load_side(const NamedSide& named, const CommonOptions& options,
                             const std::optional<Roster>& roster, const Schema& schema);

}  // namespace tramlog
