#include "daemon/standstill.hpp"

namespace tramlog {
namespace {
constexpr std::size_t kMostBuses = 64;
}  // namespace

void Standstill::take(std::span<const Event> events) {
  const std::lock_guard lock(mutex_);
  for (const Event& event : events) {
    if (event.bus >= kMostBuses) continue;
    if (event.kind == EventKind::notice) {
      if (const auto* note = std::get_if<RecorderNote>(event.notice); note != nullptr && !note->of_bus) continue;
      if (std::holds_alternative<Damage>(*event.notice)) continue;
    }
    if (buses_.size() <= event.bus) buses_.resize(std::size_t{event.bus} + 1);
    Bus& bus = buses_[event.bus];
    if (event.kind == EventKind::notice)
      if (const auto* info = std::get_if<BusInfo>(event.notice)) {
        bus.name = info->name;
        continue;  // has no time of its own
      }
    if (!bus.guard) bus.guard = std::make_unique<MotionGuard>(event.time);
    bus.guard->take(event);
  }
}

std::optional<Standstill::Verdict> Standstill::reasons(const std::string& name, TimeNs now) {
  const std::lock_guard lock(mutex_);
  std::optional<Verdict> verdict;
  for (Bus& bus : buses_) {
    if (!bus.guard) continue;
    const bool own = bus.name == name;
    if (own && !verdict) verdict.emplace();
    if (!own) continue;
    verdict->reasons = bus.guard->reasons_not_to_transmit(now);
    verdict->knows_speed = bus.guard->knows_speed(now);
  }
  if (!verdict) return std::nullopt;
  for (Bus& bus : buses_) {
    if (!bus.guard || bus.name == name) continue;
    verdict->knows_speed = verdict->knows_speed || bus.guard->knows_speed(now);
    for (const std::string& reason : bus.guard->reasons_machine_moves(now)) verdict->reasons.push_back(bus.name + ": " + reason);
  }
  return verdict;
}

}  // namespace tramlog
