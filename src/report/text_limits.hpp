// Text that must not take more room than there is.
#pragma once

#include <string>

namespace tramlog {

/// As ASCII, wrapped to `width` columns, at most `lines` lines of it; if that is not all, it ends with "..".
std::string clipped_lines(const std::string& text, std::size_t width, std::size_t lines);

}  // namespace tramlog
