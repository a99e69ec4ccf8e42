#include "implement/pool_desk.hpp"

#include <fmt/format.h>

namespace tramlog {

void PoolDesk::set_claimed(Name name) {
  if (claimed_ && *claimed_ == name) return;
  claimed_ = name;
}

void PoolDesk::on_transfer(Bytes part, Mark at) {
  if (parts_.empty()) parts_at_ = at;
  if (parts_.size() + part.size() > kMaxPoolBytes) {
    lost_part_ = true;
    return;
  }
  parts_.insert(parts_.end(), part.begin(), part.end());
}

void PoolDesk::adopt(DevicePool pool, std::vector<std::uint8_t> bytes, PoolSource source, std::string words,
                     Mark at) {
  check_device_pool(pool, claimed_);
  device_.pool = std::move(pool);
  device_.pool_at = at;
  bytes_ = std::move(bytes);
  source_ = source;
  words_ = std::move(words);
  ++changes_;
}

void PoolDesk::take_parts(Mark at, std::optional<bool> version_4) {
  if (parts_.empty()) return;
  DevicePool part = parse_device_pool(parts_, version_4);
  if (lost_part_)
    part.add_problem({part.bytes, kNullObject, "not all parts of the upload were heard whole in this recording", true});
  const bool update = part.elements.empty() && part.variables.empty() && part.properties.empty();
  if (update && !device_.pool.empty()) {
    DevicePool merged = device_.pool;
    merge_device_pool(merged, part);
    adopt(std::move(merged), bytes_, source_, words_ + fmt::format(", texts updated {}", format_time_of_day(at.time)), at);
  } else {
    std::vector<std::uint8_t> bytes = parts_;
    adopt(std::move(part), std::move(bytes), PoolSource::uploaded,
          fmt::format("uploaded {}", format_time_of_day(parts_at_.time)), at);
  }
  parts_.clear();
  lost_part_ = false;
}

bool PoolDesk::take_known(Mark at, bool needs_label) {
  // The newest that fits; what the user gave by hand before the library.
  for (const PoolSource wanted : {PoolSource::given, PoolSource::library})
    for (auto known = known_.rbegin(); known != known_.rend(); ++known) {
      if (known->source != wanted) continue;
      DevicePool pool = parse_device_pool(known->bytes);
      if (!pool.device) continue;
      const Name name = known->name.value_or(pool.device->name);
      if (claimed_ ? name != *claimed_ : wanted != PoolSource::given) continue;
      const bool same_label = structure_ && !structure_->none() &&
                              pool.device->structure.bytes.size() >= 7 && structure_->bytes.size() >= 7 &&
                              std::equal(structure_->bytes.begin(), structure_->bytes.begin() + 7,
                                         pool.device->structure.bytes.begin());
      if (needs_label && !same_label && structure_ && !structure_->none()) continue;
      const char* by = same_label ? "by NAME and structure label" : "by NAME alone: its structure label was not told here";
      adopt(std::move(pool), known->bytes, known->source, fmt::format("{}, {}", known->words, by), at);
      return true;
    }
  return false;
}

void PoolDesk::on_activate(Mark at, std::optional<bool> version_4) {
  if (!parts_.empty())
    take_parts(at, version_4);
  else if (device_.pool.empty())
    take_known(at, true);
}

void PoolDesk::on_activated(Mark at) {
  activated_ = true;
  if (!device_.pool.empty()) device_.pool_at = at;
}

void PoolDesk::on_refused(Mark) {
  activated_ = false;
}

void PoolDesk::on_deactivated() {
  activated_ = false;
}

void PoolDesk::on_designator(const DesignatorChange& change) {
  if (change_designator(device_.pool, change)) ++changes_;
}

void PoolDesk::on_traffic(Mark at) {
  if (tried_traffic_ || !claimed_ || !device_.pool.empty() || !parts_.empty()) return;
  tried_traffic_ = true;
  take_known(at, true);
}

void PoolDesk::conclude(ImplementRecord& out) {
  if (!parts_.empty() && device_.pool.empty()) take_parts(parts_at_, std::nullopt);
  out.pool = device_.pool;
  out.pool_bytes = bytes_;
  out.source = source_;
  out.source_words = words_;
  out.pool_at = device_.pool.empty() ? std::nullopt : device_.pool_at;
  out.structure = structure_ && !structure_->none() ? structure_ : std::nullopt;
  if (!out.structure && out.pool.device) out.structure = out.pool.device->structure;
  out.localization = localization_;
  if (!out.localization && out.pool.device) out.localization = out.pool.device->localization;
  out.activated = activated_;
}

}  // namespace tramlog
