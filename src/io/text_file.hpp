// Small text files in and results out.
#pragma once

#include <string>
#include <string_view>

#include "base/result.hpp"

namespace tramlog {

/// The whole of a file of at most `max_bytes`. Errors: input (missing, a directory, too large), environment
/// (permission, device).
Result<std::string> read_text_file(const std::string& path, std::size_t max_bytes);

/// Writes to a file (replacing it only when everything is on disk), or to standard output for an empty path.
/// Returns the bytes written. Errors: environment (no permission, disk full, reader gone).
Result<std::size_t> write_text(const std::string& path, std::string_view text);

}  // namespace tramlog
