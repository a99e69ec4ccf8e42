// Sections against their commands: delays on and off, commands that are not followed, flicker, sections
// outside work, errors, overrides (fact sheet, process data, 5.3, 5.9: R4 to R6).
#include <map>
#include <vector>

#include "implement/layout.hpp"
#include "implement/section_boom.hpp"
#include "implement/section_lines.hpp"
#include "implement/watch.hpp"

namespace tramlog::watches {
namespace {

constexpr std::uint16_t kWorkState = 141, kSectionControl = 160, kSetWorkState = 289;
constexpr SpanNs kTick = kSecond;  // often enough for what lasts seconds

class Sections : public DeviceWatch {
 public:
  explicit Sections(const Device& device) : device_(device) {
    limits_.on_delay_s = device.limits["section.on_delay_s"];
    limits_.off_delay_s = device.limits["section.off_delay_s"];
    limits_.never_follows_s = device.limits["section.never_follows_s"];
    limits_.flicker_s = device.limits["section.flicker_s"];
    limits_.flicker_window_s = device.limits["section.flicker_window_s"];
    limits_.outside_work_s = device.limits["section.outside_work_s"];
  }

  void on_value(const ProcessValue& value) override {
    const auto [element, ddi] = value.variable;
    if (ddi == kSectionControl) {
      if (!value.by_device && (value.raw & 3) == 1)
        for (auto& [number, boom] : booms_)
          if (boom.concerns(element)) boom.control_asked(value.at);
      return look(value.at);
    }
    if (ddi == kWorkState || ddi == kSetWorkState) return take_single(value);
    const auto block = condensed_block(ddi);
    if (!block) return;
    const bool wanted = block->kind == CondensedKind::setpoint ? !value.by_device : value.by_device;
    if (!wanted) return;
    SectionBoom* boom = boom_at(element, value.at);
    if (boom == nullptr) return;
    const auto raw = static_cast<std::uint32_t>(value.raw);
    if (block->kind == CondensedKind::actual)
      boom->condensed_actual(block->first_section, raw, value.at, room_);
    else if (block->kind == CondensedKind::setpoint)
      boom->condensed_command(block->first_section, raw, value.at, room_);
    else
      boom->condensed_override(block->first_section, raw, value.at, room_);
  }
  void on_pool() override {
    boom_of_section_.clear();
    for (auto& [number, boom] : booms_) boom.describe();
    look({device_.now, 0});
  }
  void on_task(bool active, Mark at) override {
    for (auto& [number, boom] : booms_) boom.on_task(active, at);
    if (active) task_started_ = true;
  }
  void on_speed(Mark at) override { look(at); }
  void on_blind() override {
    for (auto& [number, boom] : booms_) boom.forget(device_.now, true);
  }
  void on_break(Mark at) override {
    for (auto& [number, boom] : booms_) boom.forget(at.time, false);
  }
  void on_time(TimeNs now) override {
    if (span_between(ticked_, now) < kTick && ticked_ <= now) return;
    ticked_ = now;
    for (auto& [number, boom] : booms_) boom.advance(now);
  }
  void conclude(TimeNs end, ImplementRecord& out) override {
    std::vector<const SectionBoom*> booms;
    for (const auto& [number, boom] : booms_) booms.push_back(&boom);
    tell_sections(device_, booms, end, layout_of(device_).sections_not_kept, out);
  }

 private:
  SectionBoom* boom_at(std::uint16_t element, Mark at) {
    const auto found = booms_.find(element);
    if (found != booms_.end()) return &found->second;
    if (booms_.size() >= Layout::kMaxBooms) return nullptr;
    SectionBoom& made = booms_.emplace(element, SectionBoom(device_, limits_, element)).first->second;
    made.look(at);
    if (task_started_) made.on_task(device_.task_active, at);
    return &made;
  }

  void take_single(const ProcessValue& value) {
    const std::uint16_t element = value.variable.element;
    if (value.raw < 0 || value.raw > 3) return;
    if (!is_section(device_, element)) return look(value.at);
    if (value.by_device != (value.variable.ddi == kWorkState)) return;
    auto known = boom_of_section_.find(element);
    if (known == boom_of_section_.end()) {
      if (boom_of_section_.size() >= Layout::kMaxPlaces) return;
      known = boom_of_section_.emplace(element, boom_of(device_, element)).first;
    }
    if (!known->second) return;
    SectionBoom* boom = boom_at(*known->second, value.at);
    if (boom == nullptr) return;
    if (value.by_device)
      boom->single_actual(element, value.raw, value.at, room_);
    else
      boom->single_command(element, value.raw, value.at, room_);
  }
  void look(Mark at) {
    for (auto& [number, boom] : booms_) boom.look(at);
  }

  const Device& device_;
  SectionLimits limits_;
  std::map<std::uint16_t, SectionBoom> booms_;
  std::map<std::uint16_t, std::optional<std::uint16_t>> boom_of_section_;
  std::size_t room_ = Layout::kMaxPlaces;  // for tracks of all booms
  TimeNs ticked_ = 0;
  bool task_started_ = false;
};

std::unique_ptr<DeviceWatch> make(const Device& device) {
  return std::make_unique<Sections>(device);
}

}  // namespace

extern const DeviceWatchKind sections;
const DeviceWatchKind sections{"sections", make};

}  // namespace tramlog::watches
