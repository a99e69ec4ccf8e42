#include "implement/pool_desk.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace tramlog {
namespace {

constexpr std::size_t kLabelBytes = 7;

/// The extension is told from version 4 on only, so it counts if both have one.
bool same_label(const StructureLabel& a, const StructureLabel& b) {
  if (a.bytes.size() < kLabelBytes || b.bytes.size() < kLabelBytes || a.none() || b.none()) return false;
  if (a.bytes.size() > kLabelBytes && b.bytes.size() > kLabelBytes) return a.bytes == b.bytes;
  return std::equal(a.bytes.begin(), a.bytes.begin() + kLabelBytes, b.bytes.begin());
}

bool holds_texts_only(const DevicePool& part) {
  return part.elements.empty() && part.variables.empty() && part.properties.empty() &&
         (part.device || !part.presentations.empty());
}

bool is_broken(const DevicePool& pool) {
  return std::any_of(pool.problems.begin(), pool.problems.end(),
                     [](const PoolProblem& p) { return p.broken; });
}

}  // namespace

void PoolDesk::set_claimed(Name name) {
  if (claimed_ && *claimed_ == name) return;
  claimed_ = name;
  tries_ = 0;
  if (!device_.pool.empty()) check_device_pool(device_.pool, claimed_);
}

void PoolDesk::on_structure(const StructureLabel& label) {
  if (label.none()) return;
  if (!structure_ || *structure_ != label) tries_ = 0;
  structure_ = label;
}

bool PoolDesk::afford(std::uint64_t bytes) {
  if (read_bytes_ + bytes > kReadAtFirst + kReadForEach * uploaded_bytes_) {
    ++not_read_;
    return false;
  }
  read_bytes_ += bytes;
  return true;
}

void PoolDesk::adopt(DevicePool pool, std::vector<std::uint8_t> bytes, PoolSource source, std::string words,
                     Mark at) {
  check_device_pool(pool, claimed_);
  device_.pool = std::move(pool);
  device_.pool_at = at;
  bytes_ = std::move(bytes);
  source_ = source;
  words_ = std::move(words);
  updates_ = 0;
  altered_ = false;
  ++changes_;
}

void PoolDesk::take_upload(PoolUpload& upload, Mark at, std::optional<bool> version_4) {
  if (!upload.unsettled() && upload.collected() > 0) return;
  uploaded_bytes_ += upload.settle();
  unheard_ = upload.unheard();
  mismatch_ = upload.mismatch();
  const std::string words = "uploaded " + format_time_of_day(upload.began().time);
  const std::vector<std::uint8_t>& bytes = upload.bytes();
  if (bytes.empty()) {
    if (unheard_) dependable_ = false;
    return;
  }
  if (source_ == PoolSource::uploaded && bytes == bytes_ && !altered_ && updates_ == 0 && !unheard_) {
    // The same again, to a second partner or after a restart: nothing is new.
    device_.pool_at = at;
    words_ = words;
    return;
  }
  if (!afford(bytes.size())) {
    dependable_ = false;
    return;
  }
  DevicePool part = parse_device_pool(bytes, version_4);
  if (unheard_)
    part.add_problem(
        {part.bytes, kNullObject, "not all parts of the upload were heard whole in this recording", true});
  if (!mismatch_.empty()) part.add_problem({part.bytes, kNullObject, mismatch_, true});
  if (holds_texts_only(part) && !device_.pool.empty()) {
    if (!afford(device_.pool.bytes)) return;
    merge_device_pool(device_.pool, part);
    check_device_pool(device_.pool, claimed_);
    device_.pool_at = at;
    ++updates_;
    updated_ = at.time;
    ++changes_;
    return;
  }
  dependable_ = !unheard_ && !is_broken(part);
  adopt(std::move(part), bytes, PoolSource::uploaded, words, at);
}

bool PoolDesk::take_known(Mark at, const ProcessVariable* told) {
  if (known_.empty() || tries_ >= kMaxTries || tries_in_all_ >= kMaxTriesInAll) return false;
  ++tries_;
  ++tries_in_all_;
  // The newest that fits; what the recording itself told, then what the user gave by hand, before the library.
  for (const PoolSource wanted : {PoolSource::before_cut, PoolSource::given, PoolSource::library})
    for (auto known = known_.rbegin(); known != known_.rend(); ++known) {
      if (known->source != wanted) continue;
      DevicePool pool = parse_device_pool(known->bytes);
      if (!pool.device) continue;
      const Name name = known->name.value_or(pool.device->name);
      std::string by;
      if (claimed_) {
        if (name != *claimed_) continue;
        if (!structure_ && wanted == PoolSource::before_cut) {
          by = "by NAME";
        } else if (!structure_) {
          by = "by NAME alone: its structure label was not told here";
        } else if (same_label(*structure_, pool.device->structure)) {
          by = "by NAME and structure label";
        } else {
          continue;
        }
      } else {
        // Without an address claim only what was given by hand, and only to a client that talks of what it
        // has.
        if (wanted != PoolSource::given || told == nullptr ||
            (pool.variable(*told) == nullptr && pool.property(*told) == nullptr))
          continue;
        by = "without a comparison of NAMEs: no address claim was heard";
      }
      dependable_ = !is_broken(pool) && claimed_ && (structure_ || wanted == PoolSource::before_cut);
      unheard_ = false;
      mismatch_.clear();
      adopt(std::move(pool), known->bytes, known->source, fmt::format("{}, {}", known->words, by), at);
      return true;
    }
  return false;
}

void PoolDesk::take_before_cut(const KnownPool& known, Mark at) {
  if (known.bytes == bytes_ && dependable_) return;
  if (!afford(known.bytes.size())) return;
  DevicePool pool = parse_device_pool(known.bytes);
  if (!pool.device) return;
  dependable_ = !is_broken(pool);
  unheard_ = false;
  mismatch_.clear();
  adopt(std::move(pool), known.bytes, known.source, known.words, at);
}

void PoolDesk::on_activate_stored(Mark at) {
  // A pool that was known by its NAME alone may turn out to be another one.
  const bool guessed = source_ != PoolSource::none && source_ != PoolSource::uploaded && !dependable_;
  const bool unknown = device_.pool.empty() || unheard_;
  if (unknown || guessed) take_known(at, nullptr);
}

void PoolDesk::on_activated(Mark at) {
  activated_ = true;
  if (!device_.pool.empty()) device_.pool_at = at;
}

void PoolDesk::on_designator(const DesignatorChange& change) {
  if (designators_ >= kMaxDesignatorChanges) {
    ++not_read_;
    return;
  }
  if (!change_designator(device_.pool, change)) return;
  ++designators_;
  altered_ = true;
  ++changes_;
}

void PoolDesk::on_traffic(Mark at, ProcessVariable variable) {
  if (device_.pool.empty()) take_known(at, &variable);
}

void PoolDesk::conclude(ImplementRecord& out) const {
  out.pool = device_.pool;
  out.pool_bytes = bytes_;
  out.source = source_;
  out.source_words = words_;
  if (updates_ > 0)
    out.source_words +=
        fmt::format(", texts updated {}{}", updates_ == 1 ? "" : fmt::format("{} times, last ", updates_),
                    format_time_of_day(*updated_));
  if (not_read_ > 0) out.source_words += fmt::format(", {} more changes not read", not_read_);
  out.pool_at = device_.pool.empty() ? std::nullopt : device_.pool_at;
  out.structure = structure_;
  if (!out.structure && out.pool.device) out.structure = out.pool.device->structure;
  out.localization = localization_;
  if (!out.localization && out.pool.device) out.localization = out.pool.device->localization;
  out.activated = activated_;
}

}  // namespace tramlog
