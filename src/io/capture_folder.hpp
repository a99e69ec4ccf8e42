// The captures that lie in a folder.
#pragma once

#include <string>
#include <vector>

#include "base/result.hpp"

namespace tramlog {

/// True if the path is a folder.
bool is_folder(const std::string& path);

/// Files whose names end in .pcapng, .pcap or either with .zst, with the folder before them, by name; not
/// those of folders within. Of a segment that is there plain and packed the plain one. Errors: input (no
/// folder, no capture in it), environment.
Result<std::vector<std::string>> captures_in_folder(const std::string& folder);

}  // namespace tramlog
