#include "record/keeper_stock.hpp"

#include <algorithm>
#include <iterator>
#include <utility>

namespace tramlog {
namespace {

constexpr std::size_t kMostWishes = 256;

}  // namespace

void KeeperStock::begin_look() {
  gone_.clear();
  looked_for_.clear();
  for (const auto& [key, segment] : segments_)
    if (!segment.is_busy()) looked_for_.insert(key);
}

void KeeperStock::take_look(const FolderListing& listing) {
  for (const auto& [key, found] : listing.segments) {
    if (gone_.contains(key)) continue;
    const auto [it, is_new] = segments_.try_emplace(key);
    KeptSegment& segment = it->second;
    if (is_new) {
      segment.name = found.name();
      segment.start = segment.name.start;
    }
    segment.has_plain = found.plain.has_value();
    segment.has_packed = found.packed.has_value();
    segment.name.compressed = segment.has_packed;
    segment.plain_bytes = found.plain_bytes;
    segment.packed_bytes = found.packed_bytes;
    segment.beside.clear();
    segment.beside_bytes = 0;
    for (const FileInFolder& file : found.beside) {
      segment.beside.push_back(file.name);
      segment.beside_bytes += file.bytes;
    }
    segment.kept = found.is_kept;
    segment.stuck = false;
  }
  // What people removed.
  std::erase_if(segments_, [&](const auto& entry) {
    return looked_for_.contains(entry.first) && !listing.segments.contains(entry.first) &&
           !entry.second.is_busy();
  });
}

void KeeperStock::opened(const SegmentName& name, TimeNs start) {
  const SegmentKey key = key_of(name);
  gone_.erase(key);
  KeptSegment& segment = segments_[key];
  segment.name = name;
  segment.start = start;
  segment.is_open = segment.has_plain = true;
  if (!in_present_run(key) && present_run_) wishes_.clear();
  present_run_ = key.run;
  for (const KeepMark& wish : wishes_)
    if (start <= wish.to) mark(segment, wish);
  std::erase_if(wishes_, [&](const KeepMark& wish) { return wish.to < start; });
}

void KeeperStock::closed(const SegmentName& name) {
  const auto found = segments_.find(key_of(name));
  if (found != segments_.end()) found->second.is_open = false;
}

void KeeperStock::removed(const SegmentKey& key) {
  segments_.erase(key);
  marks_.erase(key);
  gone_.insert(key);
}

std::optional<TimeNs> KeeperStock::next_start(Segments::const_iterator it) const {
  const auto next = std::next(it);
  if (next == segments_.end() || next->first.run != it->first.run) return std::nullopt;
  return next->second.start;
}

void KeeperStock::mark(KeptSegment& segment, const KeepMark& mark) {
  if (segment.removing) return;
  segment.to_be_kept = true;
  auto& marks = marks_[key_of(segment.name)];
  if (marks.size() < kMostMarks && std::find(marks.begin(), marks.end(), mark) == marks.end())
    marks.push_back(mark);
}

void KeeperStock::protect(KeepMark wish) {
  if (wish.to < wish.from) std::swap(wish.from, wish.to);
  bool later = true;
  for (auto it = segments_.begin(); it != segments_.end(); ++it) {
    if (!in_present_run(it->first)) continue;
    const auto end = next_start(it);
    if (it->second.start > wish.to) later = false;
    if (it->second.start <= wish.to && (!end || *end > wish.from)) mark(it->second, wish);
  }
  if (!later) return;
  if (wishes_.size() < kMostWishes) {
    wishes_.push_back(std::move(wish));
  } else {
    // More than anybody looks at: the protection counts, the reasons do not.
    wishes_.back().from = std::min(wishes_.back().from, wish.from);
    wishes_.back().to = std::max(wishes_.back().to, wish.to);
  }
}

std::map<SegmentKey, std::vector<KeepMark>> KeeperStock::take_marks() {
  return std::exchange(marks_, {});
}

void KeeperStock::keep_later(const SegmentKey& key, std::vector<KeepMark> marks) {
  if (!segments_.contains(key)) return;
  auto& waiting = marks_[key];
  marks.insert(marks.end(), std::make_move_iterator(waiting.begin()), std::make_move_iterator(waiting.end()));
  marks.resize(std::min(marks.size(), kMostMarks));
  waiting = std::move(marks);
}

void KeeperStock::marks_written(const SegmentKey& key) {
  const auto found = segments_.find(key);
  if (found == segments_.end()) return;
  found->second.kept = true;
  found->second.to_be_kept = marks_.contains(key);
}

RetentionPlan KeeperStock::plan(const RetentionLimits& limits, std::uint64_t free_bytes, TimeNs now,
                                std::vector<SegmentKey>& removals) const {
  std::vector<StoredSegment> stored;
  std::vector<SegmentKey> keys;
  for (auto it = segments_.begin(); it != segments_.end(); ++it) {
    const KeptSegment& segment = it->second;
    StoredSegment one;
    one.name = segment.name;
    one.bytes = segment.bytes();
    one.end = std::max(segment.start, next_start(it).value_or(segment.start));
    one.is_protected = segment.is_protected();
    one.in_use = segment.is_busy() || segment.stuck;
    stored.push_back(one);
    keys.push_back(it->first);
  }
  RetentionPlan plan = choose_removals(stored, limits, free_bytes, now);
  removals.clear();
  for (const std::size_t i : plan.removals) removals.push_back(keys[i]);
  return plan;
}

std::optional<SegmentKey> KeeperStock::oldest_removable() const {
  for (const auto& [key, segment] : segments_)
    if (!segment.is_protected() && !segment.is_busy() && !segment.stuck) return key;
  return std::nullopt;
}

std::optional<SegmentKey> KeeperStock::next_to_pack(std::int64_t tick) const {
  for (const auto& [key, segment] : segments_)
    if (segment.is_waiting() && segment.pack_after <= tick) return key;
  return std::nullopt;
}

std::optional<SegmentKey> KeeperStock::next_to_index() const {
  for (const auto& [key, segment] : segments_)
    if (segment.has_packed && !segment.has_plain && !segment.is_busy() && !segment.index_seen) return key;
  return std::nullopt;
}

}  // namespace tramlog
