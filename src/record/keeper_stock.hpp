// What the Keeper knows of the folder. Asks neither disk nor clock and is guarded by the Keeper's lock.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "record/folder_listing.hpp"
#include "record/keep_marks.hpp"
#include "record/retention.hpp"

namespace tramlog {

struct KeptSegment {
  SegmentName name;
  TimeNs start = 0;  // exact if it was opened under our eyes
  std::uint64_t plain_bytes = 0, packed_bytes = 0, beside_bytes = 0;
  bool has_plain = false, has_packed = false;
  std::vector<std::string> beside;  // index and keep files, names without folder

  bool is_open = false;  // being written
  bool packing = false;
  bool removing = false;
  bool stuck = false;       // could not be removed; tried again with the next look at the folder
  bool kept = false;        // a keep file is there
  bool to_be_kept = false;  // its keep file is not written yet

  bool index_seen = false;    // its index is right, or cannot be had
  bool told_packing = false;  // failures that were told
  bool told_removing = false;
  bool told_keeping = false;
  std::int64_t pack_after = 0;  // not before this tick of the Keeper's own clock, ns

  bool is_protected() const { return kept || to_be_kept; }
  bool is_busy() const { return is_open || packing || removing; }
  bool is_waiting() const { return has_plain && !has_packed && !is_open && !removing; }
  std::uint64_t bytes() const { return plain_bytes + packed_bytes + beside_bytes; }
};

class KeeperStock {
 public:
  using Segments = std::map<SegmentKey, KeptSegment>;

  Segments& segments() { return segments_; }
  const Segments& segments() const { return segments_; }

  /// A look at the folder begins: what is removed from now on is not brought back by it.
  /// And only what was there when it began can be missing.
  void begin_look();
  void take_look(const FolderListing& listing);

  void opened(const SegmentName& name, TimeNs start);
  void closed(const SegmentName& name);
  void removed(const SegmentKey& key);
  void protect(KeepMark mark);
  /// Lines to be written to keep files, for segments that are there; they are given back by keep_later() if
  /// that fails.
  std::map<SegmentKey, std::vector<KeepMark>> take_marks();
  void keep_later(const SegmentKey& key, std::vector<KeepMark> marks);
  bool has_marks() const { return !marks_.empty(); }
  void marks_written(const SegmentKey& key);

  RetentionPlan plan(const RetentionLimits& limits, std::uint64_t free_bytes, TimeNs now,
                     std::vector<SegmentKey>& removals) const;
  std::optional<SegmentKey> oldest_removable() const;
  std::optional<SegmentKey> next_to_pack(std::int64_t tick) const;
  std::optional<SegmentKey> next_to_index() const;
  /// Start of the latest segment of all; 0 if there is none.
  TimeNs latest_start() const { return segments_.empty() ? 0 : segments_.rbegin()->second.start; }

 private:
  bool in_present_run(const SegmentKey& key) const { return present_run_ && key.run == *present_run_; }
  /// Start of the segment behind it in its run.
  std::optional<TimeNs> next_start(Segments::const_iterator it) const;
  void mark(KeptSegment& segment, const KeepMark& mark);

  Segments segments_;
  std::set<SegmentKey> gone_, looked_for_;
  std::optional<std::uint32_t> present_run_;
  std::vector<KeepMark> wishes_;  // that may concern segments to come
  std::map<SegmentKey, std::vector<KeepMark>> marks_;
};

}  // namespace tramlog
