// Parcels from files, and their members into a folder.
#pragma once

#include <string>
#include <vector>

#include "parcel/parcel.hpp"

namespace tramlog {

/// Whether the file begins like a mail or a zip archive. False for what cannot be opened: others tell why.
bool is_parcel_file(const std::string& path);

Result<Parcel> load_parcel(const std::string& path);

/// Writes every member into the folder, which is made if it is not there. Nothing that exists is overwritten:
/// then nothing is written at all. The paths.
Result<std::vector<std::string>> unpack_parcel(const Parcel& parcel, const std::string& folder);

}  // namespace tramlog
