// What an interrupted run left behind, put in order; for RunFolder::open.
#pragma once

#include <string>
#include <vector>

#include "record/folder_listing.hpp"

namespace tramlog {

/// Does what RunFolder::open() says; `listing` is that of `folder` and is brought up to date. Returns
/// sentence parts for the journal. What cannot be mended (no permission) is told and stays.
std::vector<std::string> mend_folder(const std::string& folder, FolderListing& listing);

}  // namespace tramlog
