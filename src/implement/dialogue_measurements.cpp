#include "implement/dialogue_measurements.hpp"

#include <algorithm>

#include "implement/dialogue_requests.hpp"

namespace tramlog {
namespace {

constexpr std::size_t kTime = 0;
constexpr std::uint32_t kShortest = 100, kLongest = 60'000;  // ms (1.4)
constexpr SpanNs kLeastWait = 2 * kSecond;

std::size_t slot_of(ProcessCommand command) {
  return static_cast<std::size_t>(command) - static_cast<std::size_t>(ProcessCommand::time_interval);
}

}  // namespace

void MeasurementSetups::put(ProcessVariable variable, Setup& setup, std::size_t slot,
                            std::optional<Measurement> measurement) {
  setup.slots[slot] = measurement;
  if (ValueEntry* entry = device_.values.entry(variable)) entry->measurements[slot] = measurement;
}

void MeasurementSetups::take(const ProcessMessage& command, Mark at) {
  auto found = setups_.find(command.variable);
  if (found == setups_.end()) {
    if (setups_.size() >= kMax) return;
    found = setups_.emplace(command.variable, Setup{}).first;
  }
  Setup& setup = found->second;
  const std::size_t slot = slot_of(command.command);
  std::optional<Measurement> measurement;
  if (!ends_measurement(command.command, command.raw)) measurement = Measurement{command.raw, at, false};
  put(command.variable, setup, slot, measurement);
  if (slot != kTime) return;
  setup.acknowledged = setup.came = setup.told = setup.unproven = false;
  setup.suspected.reset();
}

void MeasurementSetups::acknowledged(ProcessVariable variable, ProcessCommand command) {
  if (!is_measurement(command) || slot_of(command) != kTime) return;
  if (const auto found = setups_.find(variable); found != setups_.end()) found->second.acknowledged = true;
}

void MeasurementSetups::refused(ProcessVariable variable, ProcessCommand command) {
  const auto found = setups_.find(variable);
  if (!is_measurement(command) || found == setups_.end()) return;
  std::optional<Measurement> measurement = found->second.slots[slot_of(command)];
  if (!measurement) return;
  measurement->refused = true;
  put(variable, found->second, slot_of(command), measurement);
}

void MeasurementSetups::on_value(ProcessVariable variable, Mark at) {
  const auto found = setups_.find(variable);
  if (found == setups_.end()) return;
  Setup& setup = found->second;
  setup.last = at;
  setup.told = setup.unproven = false;
  setup.suspected.reset();
  if (setup.slots[kTime] && !setup.came) {
    setup.came = true;
    ++watched_;
  }
}

void MeasurementSetups::cancel() {
  for (auto& [variable, setup] : setups_) {
    ValueEntry* entry = device_.values.entry(variable);
    for (std::size_t slot = 0; slot < 5 && entry != nullptr; ++slot)
      if (const auto& mine = setup.slots[slot];
          mine && entry->measurements[slot] && entry->measurements[slot]->at.frame == mine->at.frame)
        entry->measurements[slot].reset();
  }
  setups_.clear();
}

void MeasurementSetups::on_blind() {
  for (auto& [variable, setup] : setups_) {
    setup.unproven = true;
    setup.last.reset();
    setup.suspected.reset();
  }
}

std::vector<MeasurementSetups::Missing> MeasurementSetups::missing(TimeNs now, double periods,
                                                                   bool must_acknowledge) {
  std::vector<Missing> all;
  for (auto& [variable, setup] : setups_) {
    const auto& time = setup.slots[kTime];
    if (!time || time->refused || time->raw < kShortest || time->raw > kLongest) continue;
    if (setup.told || setup.unproven) continue;
    if (must_acknowledge && !setup.acknowledged && !setup.came) continue;
    const auto several = static_cast<SpanNs>(std::min(periods, 1e6) * time->raw * 1e6);
    const Mark since = setup.last && setup.last->frame > time->at.frame ? *setup.last : time->at;
    if (now - since.time <= std::max(kLeastWait, several)) continue;
    if (!setup.suspected) setup.suspected = now;
    if (now - *setup.suspected < kSecondLook) continue;
    setup.told = true;
    all.push_back({variable, time->raw, since, setup.came});
  }
  return all;
}

}  // namespace tramlog
