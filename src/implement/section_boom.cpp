#include "implement/section_boom.hpp"

#include <algorithm>
#include <cmath>

#include "implement/layout.hpp"
#include "implement/line_tools.hpp"

namespace tramlog {
namespace {

constexpr std::uint16_t kWorkState = 141, kSetWorkState = 289, kSectionControl = 160;
constexpr std::size_t kMaxSpacings = 256;  // twice as many before changes
constexpr double kGrid = 0.15;             // of the period
constexpr double kOnChange_s = 0.2;        // at most five messages a second (fact sheet, process data, 6.1)
/// A repeated command comes more often than this.
constexpr SpanNs kLongNothing = 8 * kSecond;
/// A work state that follows the sections is told within this: two messages 200 ms apart.
constexpr double kFollowsWithin_s = 0.45;

std::optional<SectionState> state_of(std::int64_t raw) {
  if (raw < 0 || raw > 3) return std::nullopt;
  return static_cast<SectionState>(raw);
}

}  // namespace

std::optional<bool> kept_work_state(const Device& device, std::uint16_t element) {
  const ValueEntry* entry = device.values.find({element, kWorkState});
  if (entry == nullptr || !entry->told || entry->told->raw < 0 || entry->told->raw > 1) return std::nullopt;
  bool kept = entry->count >= 3 || entry->least != entry->greatest;
  for (const auto& measurement : entry->measurements) kept = kept || (measurement && !measurement->refused);
  if (!kept) return std::nullopt;
  return entry->told->raw == 1;
}

SectionBoom::SectionBoom(const Device& device, const SectionLimits& limits, std::uint16_t element)
    : device_(device), limits_(limits), element_(element) {
  describe();
}

void SectionBoom::describe() {
  above_ = elements_above(device_, element_);
}

bool SectionBoom::concerns(std::uint16_t element) const {
  return std::find(above_.begin(), above_.end(), element) != above_.end();
}

SectionTrack* SectionBoom::track(Key key, std::size_t& room, Mark at) {
  const auto found = tracks_.find(key);
  if (found != tracks_.end()) return &found->second;
  if (room == 0) return nullptr;
  --room;
  SectionTrack& made = tracks_.emplace(key, SectionTrack(limits_)).first->second;
  if (device_.pictured && Layout::kMaxPlaces - room <= Device::kMaxPicturedSections) made.keep_series();
  made.advance(at.time);
  made.conditions(conditions_, at);
  return &made;
}

void SectionBoom::tell_spacing(std::uint32_t stream, bool changed, Mark at) {
  ++told_;
  const auto last = last_told_.find(stream);
  if (last != last_told_.end() && spacings_.size() < (changed ? 2 * kMaxSpacings : kMaxSpacings))
    spacings_.push_back({to_seconds(span_between(last->second, at.time)), changed});
  if (last != last_told_.end())
    last->second = at.time;
  else if (last_told_.size() < Layout::kMaxPlaces)
    last_told_[stream] = at.time;
}

void SectionBoom::condensed_actual(unsigned first_section, std::uint32_t raw, Mark at, std::size_t& room) {
  if (!first_) first_ = at;
  bool changed = false;
  for (unsigned i = 0; i < 16; ++i) {
    const auto state = static_cast<SectionState>(raw >> (2 * i) & 3);
    const Key key{false, first_section - 1 + i};
    if (state == SectionState::not_installed && tracks_.count(key) == 0) continue;
    SectionTrack* section = track(key, room, at);
    if (section == nullptr) continue;
    changed = changed || (section->state() && *section->state() != state);
    section->actual(state, at);
  }
  tell_spacing(first_section, changed, at);
  watch_followers(at);
}

void SectionBoom::single_actual(std::uint16_t element, std::int64_t raw, Mark at, std::size_t& room) {
  const auto state = state_of(raw);
  if (!state) return;
  if (!first_) first_ = at;
  SectionTrack* section = track({true, element}, room, at);
  if (section == nullptr) return;
  const bool changed = section->state() && *section->state() != *state;
  section->actual(*state, at);
  tell_spacing(0x10000u + element, changed, at);
  watch_followers(at);
}

void SectionBoom::command(Key key, SectionState state, Mark at, std::size_t& room) {
  if (state != SectionState::on && state != SectionState::off) return;
  const bool on = state == SectionState::on;
  if (!binding_) {
    if (unbound_.size() < kMaxSections || unbound_.count(key) != 0) {
      const auto known = unbound_.find(key);
      if (known == unbound_.end() || known->second.on != on) unbound_[key] = {on, at};
    }
    return;
  }
  if (SectionTrack* section = track(key, room, at)) section->command(on, at, dated_);
}

void SectionBoom::condensed_command(unsigned first_section, std::uint32_t raw, Mark at, std::size_t& room) {
  ++commands_;
  if (binding_) ++commands_bound_;
  if (!first_) first_ = at;
  if (span_between(first_->time, at.time) > kLongNothing && commands_ == 1) dated_ = true;
  for (unsigned i = 0; i < 16; ++i) {
    const Key key{false, first_section - 1 + i};
    // A setpoint for a section that does not exist says nothing: many task controllers fill up with "off".
    if (tracks_.count(key) == 0 && last_told_.count(first_section) != 0) continue;
    command(key, static_cast<SectionState>(raw >> (2 * i) & 3), at, room);
  }
}

void SectionBoom::single_command(std::uint16_t element, std::int64_t raw, Mark at, std::size_t& room) {
  const auto state = state_of(raw);
  if (!state) return;
  ++commands_;
  if (binding_) ++commands_bound_;
  if (!first_) first_ = at;
  if (span_between(first_->time, at.time) > kLongNothing && commands_ == 1) dated_ = true;
  command({true, element}, *state, at, room);
}

void SectionBoom::condensed_override(unsigned first_section, std::uint32_t raw, Mark at, std::size_t& room) {
  for (unsigned i = 0; i < 16; ++i) {
    const unsigned state = raw >> (2 * i) & 3;
    const Key key{false, first_section - 1 + i};
    if (state == 3 || (state == 0 && tracks_.count(key) == 0 && last_told_.count(first_section) != 0))
      continue;
    if (SectionTrack* section = track(key, room, at)) section->overridden(state == 1, at);
  }
}

void SectionBoom::look(Mark at) {
  SectionTrack::Conditions now;
  std::optional<bool> told;
  for (const std::uint16_t one : above_) {
    const auto state = kept_work_state(device_, one);
    if (state) told = told.value_or(true) && *state;
    bool on = state.value_or(true);
    // Commanded after it was last told: the device may act before it says so.
    if (const ValueEntry* command = device_.values.find({one, kSetWorkState});
        command != nullptr && command->set && command->set->raw >= 0 && command->set->raw <= 1) {
      const ValueEntry* entry = device_.values.find({one, kWorkState});
      const bool later = entry == nullptr || !entry->told ||
                         std::pair(command->set->at.time, command->set->at.frame) >
                             std::pair(entry->told->at.time, entry->told->at.frame);
      if (later) on = command->set->raw == 1;
    }
    now.master = now.master && on;
  }
  now.told_on = told;
  const auto speed = device_.machine.speed_mm_s(device_.now);
  now.moving = !speed || *speed >= device_.limits["speed.working_mm_s"];
  if (now != conditions_) {
    conditions_ = now;
    for (auto& [key, section] : tracks_) section.conditions(now, at);
  }
  const auto own = kept_work_state(device_, element_);
  if (own != own_state_) {
    if (own == true && own_state_ == false) ++own_switched_on_;
    own_state_ = own;
  }
  watch_followers(at);

  std::optional<bool> control;
  for (const std::uint16_t one : above_) {
    const auto state = device_.values.told({one, kSectionControl});
    if (!state) continue;
    control = (*state & 3) == 1;
    break;
  }
  control_told_ = control.has_value();
  was_controlled_ = was_controlled_ || control.value_or(false);
  const bool binding = control.value_or(true);
  if (binding == binding_) return;
  binding_ = binding;
  if (!binding) {
    unbound_.clear();
    for (auto& [key, section] : tracks_) section.release(at);
    return;
  }
  dated_ = true;
  // Commands between the task controller's "on" and the device's: they bind from now on.
  for (const auto& [key, order] : unbound_) {
    if (!control_asked_ || order.at.time < control_asked_->time) continue;
    const auto section = tracks_.find(key);
    if (section != tracks_.end()) section->second.command(order.on, at, false);
  }
  unbound_.clear();
}

void SectionBoom::watch_followers(Mark at) {
  if (!own_state_) {
    differ_since_.reset();
    return;
  }
  bool any = false, known = false;
  for (const auto& [key, section] : tracks_) {
    known = known || section.state().has_value();
    any = any || section.state() == SectionState::on;
  }
  const bool differs = known && any != *own_state_;
  if (differ_since_)
    longest_differ_s_ = std::max(longest_differ_s_, to_seconds(span_between(*differ_since_, at.time)));
  if (!differs)
    differ_since_.reset();
  else if (!differ_since_)
    differ_since_ = at.time;
}

bool SectionBoom::work_state_follows() const {
  return own_switched_on_ >= 2 && longest_differ_s_ <= kFollowsWithin_s;
}

void SectionBoom::on_task(bool active, Mark at) {
  for (auto& [key, section] : tracks_) section.release(at);
  unbound_.clear();
  if (active) dated_ = true;
}

void SectionBoom::forget(TimeNs now, bool doubtful) {
  for (auto& [key, section] : tracks_) section.forget(now, doubtful);
  unbound_.clear();
  dated_ = false;
  first_.reset();
  differ_since_.reset();
  last_told_.clear();
}

void SectionBoom::advance(TimeNs now) {
  for (auto& [key, section] : tracks_) section.advance(now);
}

// Sampled states come on a grid, changed or not; then a change waits for up to its period. Else they are told
// on change, at most every 200 ms.
std::optional<double> SectionBoom::message_period_s() const {
  if (spacings_.empty()) return std::nullopt;
  std::vector<double> sorted;
  std::size_t changed = 0, changed_on_grid = 0, on_grid = 0;
  for (const Spacing& one : spacings_) sorted.push_back(one.seconds);
  std::sort(sorted.begin(), sorted.end());
  const double period = sorted[sorted.size() / 2];
  for (const Spacing& one : spacings_) {
    const bool fits = std::abs(one.seconds - period) <= kGrid * period;
    on_grid += fits;
    changed += one.changed;
    changed_on_grid += one.changed && fits;
  }
  const auto most = [](std::size_t part, std::size_t whole) { return 100 * part >= 85 * whole; };
  const bool sampled = changed >= 3 && sorted.size() - changed >= sorted.size() / 4 &&
                       most(on_grid, sorted.size()) && most(changed_on_grid, changed);
  return sampled ? period : std::min(sorted.front(), kOnChange_s);
}

}  // namespace tramlog
