#include "implement/values.hpp"

#include <algorithm>

#include "implement/section_states.hpp"

namespace tramlog {
namespace {

constexpr std::uint16_t kWorkState = 141;

bool is_work_state(std::uint16_t ddi) {
  const auto block = condensed_block(ddi);
  return ddi == kWorkState || (block && block->kind == CondensedKind::actual);
}

}  // namespace

ValueEntry* ValueTable::entry(ProcessVariable variable) {
  const auto found = entries_.find(variable);
  if (found != entries_.end()) return &found->second;
  if (entries_.size() >= kMaxVariables) {
    ++not_kept_;
    return nullptr;
  }
  return &entries_[variable];
}

void ValueTable::take(const ProcessValue& value) {
  ValueEntry* kept = entry(value.variable);
  if (kept == nullptr) return;
  if (!value.by_device) {
    kept->set = value;
    return;
  }
  if (is_work_state(value.variable.ddi) && (!kept->told || kept->told->raw != value.raw)) ++state_changes_;
  kept->least = kept->count == 0 ? value.raw : std::min(kept->least, value.raw);
  kept->greatest = kept->count == 0 ? value.raw : std::max(kept->greatest, value.raw);
  ++kept->count;
  kept->told = value;
}

const ValueEntry* ValueTable::find(ProcessVariable variable) const {
  const auto found = entries_.find(variable);
  if (found == entries_.end() || (!found->second.told && !found->second.set)) return nullptr;
  return &found->second;
}

std::optional<std::int64_t> ValueTable::latest(ProcessVariable variable) const {
  const ValueEntry* found = find(variable);
  if (found == nullptr) return std::nullopt;
  if (!found->told) return found->set->raw;
  if (!found->set) return found->told->raw;
  const auto order = [](const ProcessValue& v) { return std::pair(v.at.time, v.at.frame); };
  return order(*found->told) >= order(*found->set) ? found->told->raw : found->set->raw;
}

std::optional<std::int64_t> ValueTable::told(ProcessVariable variable) const {
  const ValueEntry* found = find(variable);
  if (found == nullptr || !found->told) return std::nullopt;
  return found->told->raw;
}

void ValueTable::cancel_measurements() {
  for (auto& [variable, kept] : entries_)
    for (auto& measurement : kept.measurements) measurement.reset();
}

}  // namespace tramlog
