#include "record/folder_listing.hpp"

#include <dirent.h>
#include <fcntl.h>
#include <sys/stat.h>

#include <algorithm>
#include <cerrno>
#include <memory>

#include "record/durable.hpp"
#include "record/keep_marks.hpp"
#include "record/run_state.hpp"

namespace tramlog {
namespace {

bool take_ending(std::string_view& name, std::string_view ending) {
  if (!name.ends_with(ending)) return false;
  name.remove_suffix(ending.size());
  return true;
}

std::optional<SegmentName> parse_index_name(std::string_view name) {
  if (!take_ending(name, kIndexEnding)) return std::nullopt;
  auto segment = parse_segment_name(name);
  return segment && segment->compressed ? segment : std::nullopt;
}

}  // namespace

std::uint64_t ListedSegment::bytes() const {
  std::uint64_t sum = plain_bytes + packed_bytes;
  for (const FileInFolder& file : beside) sum += file.bytes;
  return sum;
}

Result<FolderListing> list_folder(const std::string& folder) {
  const std::unique_ptr<DIR, int (*)(DIR*)> opened(::opendir(folder.c_str()), ::closedir);
  if (!opened) return disk_error("cannot read the folder of the recording", errno, folder);
  std::vector<FileInFolder> files;
  for (errno = 0;; errno = 0) {
    const dirent* entry = ::readdir(opened.get());
    if (entry == nullptr) {
      if (errno != 0) return disk_error("cannot read the folder of the recording", errno, folder);
      break;
    }
    struct stat status {};
    if (!std::string_view(entry->d_name).starts_with("run-") &&
        !std::string_view(entry->d_name).starts_with(kRunState))
      continue;
    if (::fstatat(::dirfd(opened.get()), entry->d_name, &status, AT_SYMLINK_NOFOLLOW) != 0 ||
        !S_ISREG(status.st_mode))
      continue;
    files.push_back({entry->d_name, static_cast<std::uint64_t>(status.st_size)});
  }
  std::sort(files.begin(), files.end(),
            [](const FileInFolder& a, const FileInFolder& b) { return a.name < b.name; });

  FolderListing listing;
  for (const FileInFolder& file : files) {
    const auto name = parse_segment_name(file.name);
    if (!name) continue;
    ListedSegment& segment = listing.segments[key_of(*name)];
    auto& place = name->compressed ? segment.packed : segment.plain;
    const auto& other = name->compressed ? segment.plain : segment.packed;
    if (place || (other && other->start != name->start)) {
      listing.duplicates.push_back(file.name);
      continue;
    }
    place = name;
    (name->compressed ? segment.packed_bytes : segment.plain_bytes) = file.bytes;
  }
  for (const FileInFolder& file : files) {
    std::string_view name = file.name;
    if (take_ending(name, kPartEnding)) {
      if (parse_segment_name(name) || parse_index_name(name) || parse_keep_name(name) || name == kRunState)
        listing.parts.push_back(file.name);
      continue;
    }
    const auto index = parse_index_name(name), keep = parse_keep_name(name);
    if (!index && !keep) continue;
    const auto found = listing.segments.find(key_of(index ? *index : *keep));
    if (found == listing.segments.end() ||
        (index && (!found->second.packed || found->second.packed->start != index->start))) {
      listing.orphans.push_back(file.name);
      continue;
    }
    (index ? found->second.has_index : found->second.is_kept) = true;
    found->second.beside.push_back(file);
  }
  return listing;
}

}  // namespace tramlog
