// The folder of the recording when the recorder starts: one recorder at a time, whole files, a new number for
// the run.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/result.hpp"
#include "base/time.hpp"

namespace tramlog {

/// The run before this one, as far as its last readable segment tells.
struct PreviousRun {
  std::uint32_t run = 0;
  TimeNs last_time = 0;      // of the last event in its last segment
  bool clean_end = false;    // its last notice is the recorder's note that the run ends
  std::string last_segment;  // file name without folder
};

class RunFolder {
 public:
  /// Makes the folder (0750) if its parent exists, locks it, mends what an interrupted run left behind and
  /// takes the number of the new run. Mending, in this order:
  /// - files on their way (".part" of our own names) are removed;
  /// - a segment that is there both plain and packed: the packed one must unpack to the same bytes, then the
  /// plain one goes; if
  ///   it is damaged or holds less, it goes itself; if both are sound and differ, both stay;
  /// - a plain segment that ends inside a block is cut back to its last whole one. If whole blocks follow
  /// behind something
  ///   that is none, the file is damaged in the middle and is left as it is;
  /// - a plain segment with nothing but section and interface blocks, whole or not, is removed;
  /// - index and keep files without their segment are removed.
  /// Lost index files are the Keeper's. Errors (environment): no such parent, no permission, read-only,
  /// another recorder (its process number is told), no space for the state file. All may be over later: try
  /// again.
  ///
  /// The lock belongs to the open file: a forked copy of the process holds it too until it ends.
  static Result<RunFolder> open(const std::string& path);

  RunFolder(RunFolder&& other) noexcept;
  RunFolder& operator=(RunFolder&& other) noexcept;
  ~RunFolder();

  const std::string& path() const { return path_; }
  /// 1 + the highest number ever used here: of the files, and of the state file `last-run`, so that no number
  /// comes back when its files are gone.
  std::uint32_t run() const { return run_; }
  const std::optional<PreviousRun>& previous() const { return previous_; }
  /// Sentence parts for the journal: "run-000122-0003-20261126T031500Z.pcapng: 37 bytes of an unfinished
  /// block cut off".
  const std::vector<std::string>& mended() const { return mended_; }

 private:
  RunFolder() = default;

  std::string path_;
  int lock_ = -1;
  std::uint32_t run_ = 0;
  std::optional<PreviousRun> previous_;
  std::vector<std::string> mended_;
};

}  // namespace tramlog
