// The sentences of a comparison that text and HTML share.
#pragma once

#include <string>
#include <vector>

#include "compare/compare.hpp"

namespace tramlog {

/// The worst things in words, at most three: what the answer names first.
std::vector<std::string> worst_words(const Comparison& comparison);
/// "2 things got worse, 1 got better, 3 are otherwise different." or "Nothing changed."
std::string verdict_words(const Comparison& comparison);
/// "9 controllers, counts and figures were held against each other; 4 differ by no more than .."
std::string compared_words(const Comparison& comparison);
/// "2026-04-07 06:12:00 UTC, 1 h 02 min, heard for 58 min 10 s, 10 controllers".
std::string side_words(const SideSummary& side);
/// "metering front: dropouts cured: ..", with a full stop.
std::string line_words(const ChangeLine& line);
/// "WORSE", ..: as a heading.
const char* change_heading(Change change);
/// "Larkfield 9 m air drill" if a roster names it; else empty.
std::string machine_of(const Comparison& comparison);

}  // namespace tramlog
