// The segments that lie in a folder, with what belongs to them.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "base/result.hpp"
#include "record/segment_name.hpp"

namespace tramlog {

struct FileInFolder {
  std::string name;  // without folder
  std::uint64_t bytes = 0;
};

struct ListedSegment {
  std::optional<SegmentName> plain, packed;  // at least one
  std::uint64_t plain_bytes = 0, packed_bytes = 0;
  std::vector<FileInFolder> beside;  // index and keep files
  bool has_index = false;            // of the packed one
  bool is_kept = false;

  const SegmentName& name() const { return packed ? *packed : *plain; }
  std::uint64_t bytes() const;
};

struct FolderListing {
  std::map<SegmentKey, ListedSegment> segments;
  std::vector<std::string> parts;       // on their way to one of our names
  std::vector<std::string> orphans;     // index and keep files of no segment
  std::vector<std::string> duplicates;  // segments whose numbers another file has; left alone
};

/// Only ordinary files of our own names. Errors: environment.
Result<FolderListing> list_folder(const std::string& folder);

}  // namespace tramlog
