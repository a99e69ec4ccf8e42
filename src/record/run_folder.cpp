#include "record/run_folder.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdlib>
#include <limits>
#include <utility>

#include "record/durable.hpp"
#include "record/folder_listing.hpp"
#include "record/keep_marks.hpp"
#include "record/mend.hpp"
#include "record/run_state.hpp"
#include "record/segment_end.hpp"
#include "record/segment_name.hpp"

namespace tramlog {
namespace {

constexpr const char* kLockName = "lock";

std::optional<Error> make_folder(const std::string& path) {
  struct stat status {};
  if (::mkdir(path.c_str(), 0750) == 0) {
    // The folder's own name lies in its parent.
    sync_folder(path + "/..");
    return std::nullopt;
  }
  const int code = errno;
  if (code == EEXIST) {
    if (::stat(path.c_str(), &status) == 0 && !S_ISDIR(status.st_mode))
      return Error{ErrorKind::environment, "this is no folder", path,
                   "name another folder for the recording"};
    return std::nullopt;
  }
  // A read-only disk is told before "is there already" by some systems.
  if (code == EROFS && ::stat(path.c_str(), &status) == 0 && S_ISDIR(status.st_mode)) return std::nullopt;
  return disk_error("cannot make the folder of the recording", code, path);
}

/// The process number that the holder of the lock has written; 0 if none.
long holder(int lock) {
  char text[32] = {};
  if (::pread(lock, text, sizeof text - 1, 0) <= 0) return 0;
  return std::strtol(text, nullptr, 10);
}

Result<int> take_lock(const std::string& folder) {
  const std::string path = folder + "/" + kLockName;
  const int lock = ::open(path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0640);
  if (lock < 0) return disk_error("cannot use the folder of the recording", errno, folder);
  if (::flock(lock, LOCK_EX | LOCK_NB) != 0) {
    const int code = errno;
    const long process = holder(lock);
    ::close(lock);
    if (code != EWOULDBLOCK) return disk_error("cannot lock the folder of the recording", code, path);
    return Error{ErrorKind::environment,
                 process > 0 ? fmt::format("another recorder (process {}) uses this folder", process)
                             : std::string("another recorder uses this folder"),
                 folder, "stop it, or name another folder for this one"};
  }
  // Only for people and for the sentence above: a full disk is no reason not to go on.
  const std::string text = fmt::format("{}\n", ::getpid());
  if (::ftruncate(lock, 0) == 0 && ::pwrite(lock, text.data(), text.size(), 0) < 0) errno = 0;
  return lock;
}

std::uint32_t highest_run(const FolderListing& listing) {
  std::uint32_t highest = listing.segments.empty() ? 0 : listing.segments.rbegin()->first.run;
  // A segment that is gone may have left something behind.
  for (const auto* names : {&listing.orphans, &listing.parts, &listing.duplicates}) {
    for (std::string_view name : *names) {
      for (const std::string_view ending : {kPartEnding, kIndexEnding, kKeepEnding})
        if (name.ends_with(ending)) name.remove_suffix(ending.size());
      if (const auto segment = parse_segment_name(name)) highest = std::max(highest, segment->run);
    }
  }
  return highest;
}

std::optional<PreviousRun> previous_run(const std::string& folder, const FolderListing& listing) {
  if (listing.segments.empty()) return std::nullopt;
  const std::uint32_t run = listing.segments.rbegin()->first.run;
  bool last = true;
  for (auto it = listing.segments.rbegin(); it != listing.segments.rend() && it->first.run == run;
       ++it, last = false) {
    const SegmentName& name = it->second.name();
    const std::string file = segment_name(name);
    const auto end = read_segment_end(folder + "/" + file, name.compressed);
    if (end) return PreviousRun{run, end->last_time, last && end->run_ends, file};
  }
  // Nothing of it can be read: its name still says that it was there.
  const SegmentName& name = listing.segments.rbegin()->second.name();
  return PreviousRun{run, name.start, false, segment_name(name)};
}

}  // namespace

Result<RunFolder> RunFolder::open(const std::string& path) {
  if (auto error = make_folder(path)) return *error;
  auto lock = take_lock(path);
  if (!lock) return lock.error();
  RunFolder folder;
  folder.path_ = path;
  folder.lock_ = *lock;
  auto listing = list_folder(path);
  if (!listing) return listing.error();
  auto state = read_run_state(path);
  if (!state) return state.error();
  const std::uint32_t highest = std::max(highest_run(*listing), state->last_run);
  if (highest == std::numeric_limits<std::uint32_t>::max())
    return Error{ErrorKind::environment, "no number is left for another run", path, "begin a new folder"};
  folder.run_ = highest + 1;
  folder.mended_ = mend_folder(path, *listing);
  if (state->damaged)
    folder.mended_.push_back(
        fmt::format("{}: does not hold the number of the last run, taken from the files", kRunState));
  if (auto written = write_run_state(path, folder.run_); !written) return written.error();
  folder.previous_ = previous_run(path, *listing);
  return folder;
}

RunFolder::RunFolder(RunFolder&& other) noexcept
    : path_(std::move(other.path_)),
      lock_(std::exchange(other.lock_, -1)),
      run_(other.run_),
      previous_(std::move(other.previous_)),
      mended_(std::move(other.mended_)) {}

RunFolder& RunFolder::operator=(RunFolder&& other) noexcept {
  std::swap(path_, other.path_);
  std::swap(lock_, other.lock_);
  std::swap(run_, other.run_);
  std::swap(previous_, other.previous_);
  std::swap(mended_, other.mended_);
  return *this;
}

RunFolder::~RunFolder() {
  if (lock_ >= 0) ::close(lock_);
}

}  // namespace tramlog
