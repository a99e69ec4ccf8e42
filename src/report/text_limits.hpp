// Text that must not take more room than there is.
#pragma once

#include <string>

namespace tramlog {

/// As ASCII, wrapped to `width` columns, at most `lines` lines of it; if that is not all, it ends with "..".
std::string clipped_lines(const std::string& text, std::size_t width, std::size_t lines);

/// The same, but shortened where a clause ends (after a full stop, semicolon or comma that stands in no
/// parentheses) if one does in the second half of what fits; else between words, and never within
/// parentheses.
std::string clipped_clauses(const std::string& text, std::size_t width, std::size_t lines);

}  // namespace tramlog
