// The thread in the background of the recording: packs closed segments, protects, and removes the oldest
// ones.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <string>

#include "base/time.hpp"
#include "record/retention.hpp"

namespace tramlog {

struct KeeperOptions {
  RetentionLimits limits;
  bool compress = true;
};

struct KeeperNews {
  enum class Kind {
    packed,
    removed,
    failed,           // something could not be done; told once for each thing
    limits_not_held,  // told when it begins
    limits_held,      // and when it is over
  };
  Kind kind = Kind::failed;
  std::string text;  // "run-000123-0007-20261126T031500Z.pcapng: 64.0 MiB packed to 9.1 MiB"
};

struct KeeperStatus {
  std::uint64_t bytes = 0;  // all segments with what belongs to them
  std::size_t segments = 0;
  std::size_t is_protected = 0;  // of these
  std::size_t waiting = 0;       // to be packed
  std::uint64_t free_bytes = 0;  // on the disk, for this user
};

/// Works with nice 19, SCHED_IDLE and idle disk priority where the system allows it. All members may be
/// called from any thread and wait for no disk but make_room() and, for one stat, status().
///
/// Begin it before the first segment is opened: what lies in the folder then counts as closed.
class Keeper {
 public:
  /// `folder` is that of an open RunFolder. `tell` is called from the thread.
  Keeper(std::string folder, KeeperOptions options, std::function<void(KeeperNews)> tell);
  /// Stops at once: packing that is under way is given up, marks that are not written yet are.
  ~Keeper();
  Keeper(const Keeper&) = delete;
  Keeper& operator=(const Keeper&) = delete;

  /// The writer began this segment, at this time of the capture. Never removed or packed until it is closed.
  void opened(std::string path, TimeNs start);
  /// It is whole and on the disk.
  void closed(std::string path);

  /// Keeps what lies between: the segments of the present run (that of the last opened one) whose time
  /// overlaps it, also those that begin later but not after `to`. Counts at once; the keep files are written
  /// by the thread.
  void protect(TimeNs from, TimeNs to, std::string why);

  /// The disk is full: removes the oldest segment that may go, or gives up packing if that is all there is.
  /// True if there is more room now. For the writer's thread.
  bool make_room();

  /// Other limits or packing from now on.
  void set_options(const KeeperOptions& options);
  KeeperStatus status() const;

 private:
  class Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace tramlog
